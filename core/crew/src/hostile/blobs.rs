//! A member that serves something else than the photo that it was asked for.

use iroh_blobs::HashAndFormat;
use iroh_blobs::protocol::ChunkRanges;

use super::*;

const LENGTH: usize = 1_000_000;

/// How a wrong blob is wrong.
#[derive(Clone, Copy, Debug)]
enum Wrong {
    /// Noise of the right length.
    Noise,
    /// The right content, but for one byte near its end.
    OneByte,
    /// As much as a length of eight bytes can say, and then noise without an end.
    Endless,
    /// A length of nothing.
    Nothing,
    /// The right content, cut off.
    CutOff,
}

/// What it sends for a photo whose true answer is `right`; the length, then the tree and content.
fn answer(wrong: Wrong, right: &[u8]) -> Vec<u8> {
    let noise = |length: usize| (0..length).map(|n| (n * 7 + n / 251) as u8);
    let mut sent = right.to_vec();
    match wrong {
        Wrong::Noise => sent.splice(8.., noise(right.len() - 8)).for_each(drop),
        Wrong::OneByte => sent[right.len() - 100] ^= 1,
        Wrong::Endless => {
            sent[..8].copy_from_slice(&(u64::MAX >> 1).to_le_bytes());
            sent.splice(8.., noise(60_000_000)).for_each(drop);
        }
        Wrong::Nothing => sent = vec![0; 8],
        Wrong::CutOff => sent.truncate(right.len() / 2),
    }
    sent
}

/// Says that it has whatever it is asked for, and answers each request for a blob with `sent`.
fn serve_wrong(endpoint: Endpoint, mut writer: Writer, mut reader: Reader, sent: Vec<u8>) {
    endpoint.set_alpns(vec![ALPN_PHOTOS.to_vec()]);
    tokio::spawn(async move {
        while let Ok(message) = reader.read().await {
            if let Control::Holds { number, photos } = message {
                let held = vec![true; photos.len()];
                let said = writer.write(&Control::Held { number, held }).await;
                if said.is_err() {
                    break;
                }
            }
        }
    });
    tokio::spawn(async move {
        while let Some(incoming) = endpoint.accept().await {
            let Ok(connection) = incoming.await else {
                continue;
            };
            let sent = sent.clone();
            tokio::spawn(async move {
                while let Ok((mut send, _request)) = connection.accept_bi().await {
                    let _ = send.write_all(&sent).await;
                    let _ = send.finish();
                }
            });
        }
    });
}

fn bytes_below(folder: &std::path::Path) -> u64 {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let size = |entry: std::fs::DirEntry| match entry.metadata() {
        Ok(about) if about.is_dir() => bytes_below(&entry.path()),
        // What the disk has to find room for, which is less than the length of a file with holes.
        Ok(about) => std::os::unix::fs::MetadataExt::blocks(&about) * 512,
        Err(_) => 0,
    };
    entries.map(size).sum()
}

async fn wrong_blob(wrong: Wrong) {
    let mut honest = Device::new(2).await;
    let content: Vec<u8> = (0..LENGTH).map(|n| (n % 249) as u8).collect();
    let photo = honest.photo(content.clone()).await;
    let right = honest
        .blobs
        .export_bao(photo.hash, ChunkRanges::all())
        .bao_to_vec()
        .await
        .unwrap();
    assert_eq!(right[..8], (LENGTH as u64).to_le_bytes());

    let mut a = Device::new(1).await;
    a.invite(&honest, Role::Works).await;
    let (_connection, writer, reader, endpoint, _store) = insider(&mut a).await;
    serve_wrong(endpoint, writer, reader, answer(wrong, &right));
    // First it is alone to have it.
    let disk = honest.off().await;
    let folder = a.disk.folder.path().to_owned();
    let before = bytes_below(&folder);
    a.want(&[photo]);
    let failed = |e: &Event| matches!(e, Event::PhotoFailed { hash, .. } if *hash == photo.hash);
    a.until(failed).await;
    assert!(a.host.kept.lock().unwrap().is_empty());
    let grown = bytes_below(&folder).saturating_sub(before);
    assert!(grown < 2 * LENGTH as u64, "{wrong:?}: {grown} bytes");

    // Then an honest device comes, and the wrong one goes on. It is not asked again and again.
    honest = Device::on(disk).await;
    connected(&a, &honest).await;
    a.events = a.crew.events();
    a.crew.photos_changed();
    let mut failures = 0;
    let is_photo = |hash: &iroh_blobs::Hash| *hash == photo.hash;
    loop {
        let event = a.until(|e| {
            matches!(e, Event::PhotoFailed { hash, .. } | Event::PhotoArrived { hash, .. } if is_photo(hash))
        });
        match event.await {
            Event::PhotoFailed { .. } => failures += 1,
            _ => break,
        }
    }
    // One may have been under way.
    assert!(failures <= 1, "{wrong:?}: {failures} more failures");
    assert!(a.host.kept.lock().unwrap().contains(&photo.hash));
    assert_eq!(
        a.blobs.blobs().get_bytes(photo.hash).await.unwrap(),
        content
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn noise_in_place_of_a_photo_is_refused() {
    wrong_blob(Wrong::Noise).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_wrong_byte_of_a_photo_is_refused() {
    wrong_blob(Wrong::OneByte).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_without_an_end_is_refused() {
    wrong_blob(Wrong::Endless).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_in_place_of_a_photo_is_refused() {
    wrong_blob(Wrong::Nothing).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_that_is_always_cut_off_comes_from_elsewhere() {
    wrong_blob(Wrong::CutOff).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_of_a_job_that_is_not_theirs_is_not_given_to_a_member_who_knows_its_identity() {
    let mut a = Device::new(1).await;
    let (_connection, _writer, _reader, endpoint, _documents) = insider(&mut a).await;
    let secret = a.photo(vec![5; 300_000]).await;
    // A "photo" that names it, as a list of the blob protocol does.
    let list = a.photo(secret.hash.as_bytes().to_vec()).await;
    let withheld = (secret.hash, endpoint.id());
    a.host.secret_photos.lock().unwrap().insert(withheld);
    let store = iroh_blobs::store::mem::MemStore::new();
    let fetched = async |content: HashAndFormat| {
        let connection = reach(&endpoint, &a, ALPN_PHOTOS).await;
        let fetch = store.remote().fetch(connection, content).complete();
        tokio::time::timeout(SOON, fetch).await.unwrap().is_ok()
    };
    assert!(!fetched(HashAndFormat::raw(secret.hash)).await);
    assert!(!fetched(HashAndFormat::hash_seq(list.hash)).await);
    assert!(!store.blobs().has(secret.hash).await.unwrap());
    // What is not secret comes.
    assert!(fetched(HashAndFormat::raw(list.hash)).await);
}
