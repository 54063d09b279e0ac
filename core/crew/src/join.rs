//! Joining a crew by a ticket.
//!
//! The newcomer dials the key in the ticket, so it knows whom it talks to, and shows the secret.
//! The inviter signs its admission, writes it to the disk, and hands over the roster. If the
//! answer gets lost the newcomer may show the ticket again.

use std::sync::Arc;
use std::time::Duration;

use iroh::endpoint::Connection;

use crate::engine::{Engine, lock, within};
use crate::error::{CrewError, Refusal, Result};
use crate::event::Event;
use crate::net::at;
use crate::roster::{MemberId, Roster, name_is_good};
use crate::ticket::Ticket;
use crate::wire::{ALPN_JOIN, Answer, Ask, close, code, framed, refusal_of};

const TIME: Duration = Duration::from_secs(15);

/// The newcomer's side.
pub(crate) async fn ask(engine: &Arc<Engine>, ticket: &Ticket, name: &str) -> Result<()> {
    if engine.roster().is_removed(&engine.id) {
        return Err(CrewError::Removed);
    }
    if engine.roster().crew().is_some() {
        return Err(CrewError::InCrew);
    }
    let who = format!("the device {}", &ticket.inviter.to_string()[..10]);
    let unreachable = |why: String| CrewError::Unreachable {
        who: who.clone(),
        why,
    };
    let dial = engine
        .endpoint
        .connect(at(ticket.inviter, &ticket.addresses), ALPN_JOIN);
    let connection = tokio::time::timeout(TIME, dial)
        .await
        .map_err(|_| unreachable("no answer".into()))?
        .map_err(|e| unreachable(e.to_string()))?;
    let answer = within(TIME, exchange(&connection, ticket, name)).await;
    let answer = answer.map_err(|why| refusal_of(&connection).unwrap_or(why));
    close(&connection, code::STOPPING, "thank you");
    let refused = |why| CrewError::Refused {
        who: who.clone(),
        why,
    };
    let statements = match answer.map_err(refused)? {
        Answer::Refused(why) => return Err(refused(why)),
        Answer::Welcome { roster } => roster,
    };
    // Tried on a roster of its own first: nothing of it is taken unless all of it makes sense.
    let mut trial = Roster::default();
    trial.merge(statements.clone());
    if trial.role(&engine.id).is_none() || trial.role(&ticket.inviter).is_none() {
        return Err(refused(Refusal::Garbage));
    }
    engine
        .change_roster(|roster| {
            if roster.crew().is_some() {
                return Err(CrewError::InCrew);
            }
            Ok(roster.merge(statements).news)
        })
        .await?;
    for address in ticket.addresses.iter().rev() {
        lock(&engine.addresses).met(ticket.inviter, *address);
    }
    // The one place that this device knows: it doesn't wait for others to be written with it.
    lock(&engine.addresses).save();
    engine.dial_now.notify_one();
    Ok(())
}

async fn exchange(
    connection: &Connection,
    ticket: &Ticket,
    name: &str,
) -> std::result::Result<Answer, Refusal> {
    let (send, recv) = connection.open_bi().await.map_err(|_| Refusal::Closing)?;
    let (mut writer, mut reader) = framed(send, recv);
    writer
        .write(&Ask {
            secret: ticket.secret,
            name: name.to_owned(),
        })
        .await?;
    reader.trust();
    reader.read().await
}

/// The inviter's side.
pub(crate) async fn answer(engine: &Arc<Engine>, connection: Connection) {
    let who = connection.remote_id();
    let outcome = within(TIME, answer_inner(engine, &connection, who)).await;
    if let Err(why) = outcome {
        close(&connection, code::of(why), &why.to_string());
        engine.tell(Event::Refused {
            who,
            why,
            by_us: true,
        });
        return;
    }
    // The newcomer closes when it has read the answer.
    let _ = tokio::time::timeout(TIME, connection.closed()).await;
}

async fn answer_inner(
    engine: &Arc<Engine>,
    connection: &Connection,
    who: MemberId,
) -> std::result::Result<(), Refusal> {
    let (send, recv) = connection.accept_bi().await.map_err(|_| Refusal::Closing)?;
    let (mut writer, mut reader) = framed(send, recv);
    let ask: Ask = reader.read().await?;
    let admitted = admit(engine, who, &ask).await;
    let roster = engine.roster().statements();
    let answer = match &admitted {
        Ok(()) => Answer::Welcome { roster },
        Err(why) => Answer::Refused(*why),
    };
    writer.write(&answer).await?;
    writer.finish().await;
    admitted
}

async fn admit(engine: &Arc<Engine>, who: MemberId, ask: &Ask) -> std::result::Result<(), Refusal> {
    if engine.roster().is_removed(&who) {
        return Err(Refusal::Removed);
    }
    let now = engine.host.now();
    let grant = lock(&engine.invitations).redeem(&ask.secret, who, now)?;
    if engine.role_of(&who).is_some() {
        return Ok(());
    }
    let name = grant.name.unwrap_or_else(|| {
        let short = who.to_string()[..10].to_owned();
        Some(ask.name.trim().to_owned())
            .filter(|name| name_is_good(name))
            .unwrap_or(short)
    });
    let role = grant.role;
    let admitted = engine
        .change_roster(|roster| roster.admit(&engine.key, who, role, &name, now))
        .await;
    match admitted {
        Ok(()) => {
            engine.tell(Event::Joined { who, name, role });
            Ok(())
        }
        Err(CrewError::Refused { why, .. }) => Err(why),
        Err(e) => {
            tracing::error!(error = %e, "a device could not be admitted");
            Err(Refusal::Closing)
        }
    }
}
