//! `datumtrail crew`

use std::process::ExitCode;
use std::time::Duration;

use datumtrail_core::crew::{ClockOffset, Event, Invite, Role};
use datumtrail_core::error::{Error, Result};
use datumtrail_core::photo::timecode::Modules;
use jiff::SignedDuration;
use serde_json::{Value, json};

use super::Context;
use crate::args::{Crew, Keep, Role as Typed};
use crate::output;
use crate::show::table::Table;
use crate::show::{WIDTH, wrap};

/// How long devices that are there may take to hear of a change.
const TELL: Duration = Duration::from_secs(3);

pub async fn run(context: &Context, command: Crew) -> Result<ExitCode> {
    let shop = &context.shop;
    match command {
        Crew::Invite {
            role,
            name,
            minutes,
        } => return invite(context, role, name, minutes).await,
        Crew::Join { ticket } => {
            shop.join(&ticket).await?;
            let members = shop.members()?.len();
            output::either(context.json, &json!({ "members": members }), || {
                format!(
                    "This device is in: the crew has {members} devices. Start datumtrail sync to \
                     get their jobs."
                )
            });
        }
        Crew::List => list(context)?,
        Crew::Rename { device, name } => {
            shop.rename_device(&device, &name).await?;
            tell(context).await?;
            output::either(context.json, &json!({ "name": name }), || {
                format!("It is called {name} now.")
            });
        }
        Crew::Remove { device } => {
            let name = shop.remove_device(&device).await?;
            tell(context).await?;
            output::either(context.json, &json!({ "removed": name }), || {
                wrap(
                    &format!(
                        "{name} is removed. Devices refuse it as soon as they hear of it, and what \
                         it writes from now on is set aside, and so is earlier work of it that has \
                         not reached this device. What it holds already, it keeps."
                    ),
                    WIDTH,
                    "",
                )
            });
        }
        Crew::Keep { what, copies, days } => keep(context, what, copies, days).await?,
        Crew::Connect { address } => {
            let member = shop.connect(address).await?;
            output::either(
                context.json,
                &json!({ "device": member.to_string() }),
                || format!("Connected to {member}; its address is remembered."),
            );
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Lets connected devices hear of a change, if any are there.
async fn tell(context: &Context) -> Result<()> {
    context.shop.settled(TELL).await?;
    Ok(())
}

async fn invite(
    context: &Context,
    role: Typed,
    name: Option<String>,
    minutes: u64,
) -> Result<ExitCode> {
    let valid = Duration::from_secs(60 * minutes);
    let mut events = context.shop.crew().await?.events();
    let ticket = context
        .shop
        .invite(Invite {
            role: match role {
                Typed::Keeps => Role::Keeps,
                Typed::Works => Role::Works,
                Typed::Looks => Role::Looks,
            },
            name,
            valid,
        })
        .await?;
    let text = ticket.to_string();
    output::either(context.json, &json!({ "ticket": text }), || {
        let mut out = Modules::of(&text, 1).map_or_else(Vec::new, |code| code.half_blocks());
        out.push(text.clone());
        out.push(wrap(
            &format!(
                "On the other device: datumtrail crew join, and this ticket. It is good for one \
                 device and for {minutes} minutes, as long as this command runs."
            ),
            WIDTH,
            "",
        ));
        out.join("\n")
    });
    let joined = async {
        loop {
            match events.recv().await {
                Ok(Event::Joined { who, name, .. }) => return Some((who, name)),
                Ok(Event::Refused { why, .. }) if !context.json => {
                    output::text(format!("A device was turned away: {why}."));
                }
                Ok(_) | Err(tokio::sync::broadcast::error::RecvError::Lagged(_)) => {}
                Err(tokio::sync::broadcast::error::RecvError::Closed) => return None,
            }
        }
    };
    let joined = tokio::select! {
        joined = tokio::time::timeout(valid, joined) => joined.ok().flatten(),
        _ = tokio::signal::ctrl_c() => None,
    };
    let Some((who, name)) = joined else {
        return Err(Error::Invalid {
            what: "nobody joined with the ticket".into(),
            todo: "invite again, and see whether both devices are on the same network".into(),
        });
    };
    // The new device may want to hear more before this one goes.
    tell(context).await?;
    let value = json!({ "joined": who.to_string(), "name": name });
    output::either(context.json, &value, || format!("{name} is in."));
    Ok(ExitCode::SUCCESS)
}

fn list(context: &Context) -> Result<()> {
    let shop = &context.shop;
    let members = shop.members()?;
    let me = shop.device().0;
    let peers = shop.peers();
    let addresses: Vec<String> = (shop.addresses().iter()).map(ToString::to_string).collect();
    let values: Vec<Value> = members
        .iter()
        .map(|member| {
            let peer = peers.iter().find(|p| p.id == member.id);
            json!({
                "key": member.id.to_string(),
                "name": member.name,
                "role": member.role.to_string(),
                "this": member.id.to_string() == me,
                "since": member.since.to_string(),
                "connected": peer.is_some(),
                "address": peer.and_then(|p| p.address).map(|a| a.to_string()),
                "clock_offset_s": peer.and_then(|p| p.offset).map(|o| o.micros as f64 / 1e6),
            })
        })
        .collect();
    let value = json!({
        "devices": values,
        "keeps": if shop.keeps_all() { "all" } else { "own" },
        "addresses": addresses,
    });
    output::either(context.json, &value, || {
        if members.is_empty() {
            return wrap(
                "This device is in no crew. Invite another with datumtrail crew invite, or join \
                 one with datumtrail crew join TICKET.",
                WIDTH,
                "",
            );
        }
        let mut table = Table::new(&["name", "role", "key", "now"]);
        for member in &members {
            let peer = peers.iter().find(|p| p.id == member.id);
            let now = match peer {
                _ if member.id.to_string() == me => "this device".to_owned(),
                Some(peer) => match peer.offset.as_ref().and_then(clock_words) {
                    Some(clock) => format!("connected; {clock}"),
                    None => "connected".into(),
                },
                None => "not connected".into(),
            };
            let key = member.id.to_string().chars().take(10).collect();
            table.row(vec![member.name.clone(), member.role.to_string(), key, now]);
        }
        let keeps = match shop.keeps_all() {
            true => "It keeps all original photos.",
            false => "It keeps its own original photos, and previews of the others.",
        };
        let mut out = format!("{}\n{keeps}", table.show());
        if !addresses.is_empty() {
            out += &wrap(
                &format!("\nIt listens at {}.", addresses.join(", ")),
                WIDTH,
                "",
            );
        }
        out
    });
    Ok(())
}

/// How another device's clock differs, where that matters.
pub fn clock_words(offset: &ClockOffset) -> Option<String> {
    let seconds = offset.micros as f64 / 1e6;
    if seconds.abs() <= 2.0 {
        return None;
    }
    let way = if seconds > 0.0 { "ahead" } else { "behind" };
    let size = SignedDuration::from_secs(seconds.abs().round() as i64);
    Some(format!("its clock is {size:#} {way}"))
}

async fn keep(context: &Context, what: Keep, copies: usize, days: u32) -> Result<()> {
    match what {
        Keep::All => {
            context.shop.keep_all()?;
            output::either(context.json, &json!({ "keeps": "all" }), || {
                "This device keeps all original photos; datumtrail sync fetches those it lacks."
                    .into()
            });
        }
        Keep::Own => {
            let age = SignedDuration::from_hours(24 * i64::from(days));
            let dropped = context.shop.keep_own(copies, age).await?;
            let value = json!({ "keeps": "own", "dropped": dropped });
            output::either(context.json, &value, || {
                wrap(
                    &format!(
                        "This device keeps its own original photos. Others let go of: \
                         {} ({} MB). Others that stay: {}, because fewer than {copies} other \
                         devices hold them and said so again.",
                        dropped.photos,
                        dropped.bytes >> 20,
                        dropped.kept
                    ),
                    WIDTH,
                    "",
                )
            });
        }
    }
    Ok(())
}
