//! How two devices greet each other: that both belong to the crew, who is in it, and what
//! documents there are.

use std::sync::Arc;
use std::time::Duration;

use crate::engine::Engine;
use crate::error::Refusal;
use crate::roster::MemberId;
use crate::wire::{Control, Hello, Reader, Told, Verdict, Writer};

/// How long a device may take for its part of the greeting.
pub(super) const GREETING_MAX: Duration = Duration::from_secs(10);

/// Why there is no session, and whose reason it is.
#[derive(Clone, Copy, Debug)]
pub(super) enum Fault {
    Ours(Refusal),
    Theirs(Refusal),
}

impl From<Refusal> for Fault {
    fn from(why: Refusal) -> Self {
        Fault::Ours(why)
    }
}

pub(super) struct Greeted {
    pub(super) writer: Writer,
    pub(super) reader: Reader,
    /// What the roster was when it was told.
    pub(super) digest: [u8; 32],
    pub(super) ours: Vec<Told>,
    pub(super) theirs: Vec<Told>,
}

pub(super) async fn greet_in_time(
    engine: &Arc<Engine>,
    peer: MemberId,
    writer: Writer,
    reader: Reader,
) -> std::result::Result<Greeted, Fault> {
    tokio::time::timeout(GREETING_MAX, greet(engine, peer, writer, reader))
        .await
        .unwrap_or(Err(Fault::Ours(Refusal::Silent)))
}

/// Shows each other that both belong to the crew, brings both to the same roster, and tells what
/// documents there are.
async fn greet(
    engine: &Arc<Engine>,
    peer: MemberId,
    mut writer: Writer,
    mut reader: Reader,
) -> std::result::Result<Greeted, Fault> {
    let hello = {
        let roster = engine.roster();
        Hello {
            crew: roster.crew().ok_or(Refusal::Stranger)?,
            proof: roster.proof(&engine.id),
            digest: roster.digest(),
        }
    };
    writer.write(&hello).await?;
    let theirs: Hello = reader.read().await?;
    let same_roster = theirs.digest == hello.digest;
    let verdict = if theirs.crew == hello.crew {
        engine
            .hear_proof(theirs.proof, peer)
            .await
            .map_err(|_| Refusal::Garbage)?;
        judge(engine, &peer)
    } else {
        Err(Refusal::Stranger)
    };
    let (answer, digest) = {
        let roster = engine.roster();
        let answer = match verdict {
            Err(why) => Verdict::Refused(why),
            Ok(()) if same_roster => Verdict::Welcome { roster: Vec::new() },
            Ok(()) => Verdict::Welcome {
                roster: roster.statements(),
            },
        };
        (answer, roster.digest())
    };
    writer.write(&answer).await?;
    if let Err(why) = verdict {
        // Time for the word to arrive before the connection is closed.
        let _ = tokio::time::timeout(Duration::from_secs(1), writer.finish()).await;
        return Err(why.into());
    }
    reader.trust();
    match reader.read().await? {
        Verdict::Refused(why) => return Err(Fault::Theirs(why)),
        Verdict::Welcome { roster } => {
            engine
                .hear(roster, peer)
                .await
                .map_err(|_| Refusal::Garbage)?;
        }
    }
    // What the other side told may be that it, or we, are out.
    judge(engine, &peer)?;
    let ours = engine.documents.summary(engine, &peer);
    writer.write(&Control::Summary(ours.clone())).await?;
    let Control::Summary(theirs) = reader.read().await? else {
        return Err(Refusal::Garbage.into());
    };
    Ok(Greeted {
        writer,
        reader,
        digest,
        ours,
        theirs,
    })
}

/// Whether both belong to the crew.
pub(super) fn judge(engine: &Engine, peer: &MemberId) -> std::result::Result<(), Refusal> {
    let roster = engine.roster();
    if roster.is_removed(peer) || roster.is_removed(&engine.id) {
        return Err(Refusal::Removed);
    }
    match roster.role(peer) {
        Some(_) => Ok(()),
        None => Err(Refusal::Stranger),
    }
}
