//! The side that has the shop.

use datumtrail_core::error::Result;
use datumtrail_core::shop::Shop;

#[cfg(unix)]
const PREFIX: &str = "datumtrail-";

/// Listens for commands until it is dropped.
#[cfg(unix)]
pub struct Owner {
    pointer: std::path::PathBuf,
    task: tokio::task::JoinHandle<()>,
    // Removed with the socket in it.
    _folder: tempfile::TempDir,
}

#[cfg(unix)]
impl Owner {
    /// Starts to listen for commands on an open shop.
    ///
    /// # Errors
    /// What the file system says.
    pub fn listen(shop: &Shop) -> Result<Self> {
        use datumtrail_core::error::Error;

        let io = |path: &std::path::Path| {
            let path = path.to_owned();
            move |e| Error::io(&path, e)
        };
        let pointer = shop.path().join(super::POINTER);
        forget(&pointer);
        let folder = tempfile::Builder::new()
            .prefix(PREFIX)
            .permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700))
            .tempdir()
            .map_err(io(&std::env::temp_dir()))?;
        let socket = folder.path().join("socket");
        let listener = tokio::net::UnixListener::bind(&socket).map_err(io(&socket))?;
        let mut file = tempfile::NamedTempFile::new_in(shop.path()).map_err(io(shop.path()))?;
        std::io::Write::write_all(&mut file, socket.as_os_str().as_encoded_bytes())
            .map_err(io(&pointer))?;
        file.persist(&pointer)
            .map_err(|e| Error::io(&pointer, e.error))?;
        let shop = shop.for_person(None);
        let task = tokio::spawn(accept(listener, std::sync::Arc::new(shop)));
        Ok(Self {
            pointer,
            task,
            _folder: folder,
        })
    }
}

/// Tidies up after an owner that was killed: this process has the shop now, so nobody listens there.
#[cfg(unix)]
fn forget(pointer: &std::path::Path) {
    let Ok(socket) = std::fs::read_to_string(pointer) else {
        return;
    };
    let socket = std::path::Path::new(&socket);
    let Some(folder) = socket.parent() else {
        return;
    };
    // A pointer that was copied along with its folder names a socket at which somebody listens.
    if std::os::unix::net::UnixStream::connect(socket).is_ok() {
        let _ = std::fs::remove_file(pointer);
        return;
    }
    let name = folder.file_name().and_then(|name| name.to_str());
    if name.is_some_and(|name| name.starts_with(PREFIX)) {
        let _ = std::fs::remove_file(socket);
        let _ = std::fs::remove_dir(folder);
    }
    let _ = std::fs::remove_file(pointer);
}

#[cfg(unix)]
impl Drop for Owner {
    fn drop(&mut self) {
        self.task.abort();
        let _ = std::fs::remove_file(&self.pointer);
    }
}

#[cfg(unix)]
async fn accept(listener: tokio::net::UnixListener, shop: std::sync::Arc<Shop>) {
    // Commands end with the owner: dropping the set stops them.
    let mut running = tokio::task::JoinSet::new();
    loop {
        let stream = tokio::select! {
            stream = listener.accept() => stream,
            Some(_) = running.join_next() => continue,
        };
        let Ok((stream, _)) = stream else {
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
            continue;
        };
        let mine = super::own_user();
        let theirs = stream.peer_cred().ok().map(|c| c.uid());
        if mine.is_none() || mine != theirs {
            tracing::warn!("another user knocked at the shop's socket");
            continue;
        }
        let shop = std::sync::Arc::clone(&shop);
        running.spawn(async move {
            if let Err(e) = serve(stream, &shop).await {
                tracing::debug!("a carried command ended: {e}");
            }
        });
    }
}

/// Carries out one command.
#[cfg(unix)]
async fn serve(stream: tokio::net::UnixStream, shop: &Shop) -> std::io::Result<()> {
    use super::wire::{Answer, Request, Said, receive, send};
    use tokio::sync::mpsc;

    let (from, mut to) = stream.into_split();
    let mut from = tokio::io::BufReader::new(from);
    let Some(request) = receive::<Request>(&mut from).await? else {
        return Ok(());
    };
    if request.version != env!("CARGO_PKG_VERSION") {
        let why = "datumtrail: another version of the program has the shop\n\
                   What to do: use that one, or stop it.";
        send(&mut to, &Said::Err(why.into())).await?;
        return send(&mut to, &Said::Done(1)).await;
    }
    let (say, mut said) = mpsc::unbounded_channel();
    let (answered, answers) = mpsc::unbounded_channel();
    let wire = crate::output::Wire::new(say, answers);
    let command = wire.carry(crate::commands::run_carried(shop, request));
    // Nothing is sent but answers; the end means that the asking side has gone.
    let hearing = async {
        while let Ok(Some(answer)) = receive::<Answer>(&mut from).await {
            if answered.send(answer.0).is_err() {
                return;
            }
        }
    };
    tokio::pin!(command, hearing);
    let code = loop {
        tokio::select! {
            biased;
            Some(said) = said.recv() => send(&mut to, &said).await?,
            () = &mut hearing => return Ok(()),
            code = &mut command => break code,
        }
    };
    while let Ok(said) = said.try_recv() {
        send(&mut to, &said).await?;
    }
    send(&mut to, &Said::Done(code)).await
}

/// Sockets of this kind are only used where files have owners.
#[cfg(not(unix))]
pub struct Owner;

#[cfg(not(unix))]
impl Owner {
    /// Does nothing here: a command that finds the shop in use says so.
    pub fn listen(_shop: &Shop) -> Result<Self> {
        Ok(Self)
    }
}
