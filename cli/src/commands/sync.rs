//! `datumtrail sync`

use std::process::ExitCode;
use std::time::Duration;

use datumtrail_core::crew::{BlobKind, Event, Settled};
use datumtrail_core::error::{Error, Result};
use serde_json::{Value, json};
use tokio::sync::broadcast::error::RecvError;

use super::{Context, crew};
use crate::args::Sync;
use crate::carry::Owner;
use crate::output;
use crate::show::{WIDTH, wrap, wrapped};

pub async fn run(context: &Context, asked: &Sync) -> Result<ExitCode> {
    if output::is_carried() && !asked.once {
        return Err(Error::Invalid {
            what: "the shop is already being shared by another process".into(),
            todo: "leave that one running, or stop it with Ctrl-C first".into(),
        });
    }
    if context.shop.members()?.is_empty() {
        return Err(Error::Invalid {
            what: "this device is in no crew yet".into(),
            todo: "invite another with datumtrail crew invite, or join one with datumtrail crew \
                   join TICKET"
                .into(),
        });
    }
    if asked.once {
        return once(context, Duration::from_secs(asked.within)).await;
    }
    let _owner = Owner::listen(&context.shop)?;
    let crew = context.shop.crew().await?;
    let mut events = crew.events();
    let others = context.shop.members()?.len() - 1;
    output::either(context.json, &json!({ "sharing_with": others }), || {
        wrap(
            &format!(
                "Sharing with the crew's other devices ({others}). Ctrl-C ends it; other commands go \
                 on working meanwhile."
            ),
            WIDTH,
            "",
        )
    });
    let stop = stop();
    tokio::pin!(stop);
    loop {
        let event = tokio::select! {
            event = events.recv() => event,
            () = &mut stop => return Ok(ExitCode::SUCCESS),
        };
        match event {
            Ok(event) => say(context, &event).await,
            Err(RecvError::Lagged(_)) => {}
            Err(RecvError::Closed) => return Ok(ExitCode::SUCCESS),
        }
    }
}

async fn once(context: &Context, within: Duration) -> Result<ExitCode> {
    let settled = context.shop.settled(within).await?;
    output::either(context.json, &value(context, &settled), || {
        if settled.is_whole() {
            return format!(
                "Everything is exchanged with {} ({:.1} s).",
                names(context, &settled).join(", "),
                settled.took.as_secs_f64()
            );
        }
        let mut out = vec!["Not everything is exchanged:".to_owned()];
        out.extend(settled.missing.iter().map(|m| format!("  - {m}")));
        wrapped(&out)
    });
    Ok(match settled.is_whole() {
        true => ExitCode::SUCCESS,
        false => ExitCode::from(1),
    })
}

fn value(context: &Context, settled: &Settled) -> Value {
    json!({
        "whole": settled.is_whole(),
        "with": names(context, settled),
        "missing": settled.missing,
        "documents": settled.documents,
        "photos": settled.photos,
        "took_s": settled.took.as_secs_f64(),
    })
}

fn names(context: &Context, settled: &Settled) -> Vec<String> {
    let members = context.shop.members().unwrap_or_default();
    let name = |id| match members.iter().find(|m| m.id == id) {
        Some(member) => member.name.clone(),
        None => id.to_string(),
    };
    settled.with.iter().map(|id| name(*id)).collect()
}

/// A line about what happened; nothing about what needs none.
async fn say(context: &Context, event: &Event) {
    let name = |who: &datumtrail_core::crew::MemberId| {
        let members = context.shop.members().unwrap_or_default();
        let found = members.into_iter().find(|m| m.id == *who);
        found.map_or_else(|| who.to_string().chars().take(10).collect(), |m| m.name)
    };
    let job = match event {
        Event::DocumentArrived(id) | Event::DocumentChanged(id) => {
            context.shop.title_of(&id.to_string()).await
        }
        _ => String::new(),
    };
    let line = match event {
        Event::PeerUp(peer) => format!("{} is here.", peer.name),
        Event::PeerDown { who, why } => format!("{} is gone: {why}.", name(who)),
        Event::Refused {
            who, why, by_us, ..
        } => match by_us {
            true => format!("{} was turned away: {why}.", name(who)),
            false => format!("{} turned this device away: {why}.", name(who)),
        },
        Event::Joined { name, .. } => format!("{name} joined the crew."),
        Event::RosterChanged => "The crew has changed: datumtrail crew list.".into(),
        Event::DocumentArrived(_) => format!("The job «{job}» came."),
        Event::DocumentChanged(_) => format!("The job «{job}» changed."),
        Event::DocumentNotSaved { why, .. } => format!("A job could not be written: {why}."),
        Event::PhotoArrived { kind, from, .. } => match kind {
            BlobKind::Preview => return,
            BlobKind::Original => format!("A photo came from {}.", name(from)),
        },
        Event::PhotoFailed { why, .. } => {
            format!("A photo could not be fetched or kept: {why}. It will be tried again.")
        }
        Event::ClockOffset { who, offset } => match crew::clock_words(offset) {
            Some(words) => format!("{}: {words}.", name(who)),
            None => return,
        },
        _ => return,
    };
    output::either(context.json, &json!({ "said": line }), || {
        wrap(&line, WIDTH, "  ")
    });
}

/// Until somebody stops the program.
async fn stop() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut term) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = term.recv() => {}
                _ = tokio::signal::ctrl_c() => {}
            }
            return;
        }
    }
    let _ = tokio::signal::ctrl_c().await;
}
