//! `datumtrail photo timecode`

use std::io::{IsTerminal, Write};
use std::time::Duration;

use datumtrail_core::photo::timecode::TimeCode;
use jiff::{SignedDuration, Timestamp};
use serde_json::json;

use crate::output;

/// Shows the code of every second until the person stops it.
pub async fn run(json: bool, once: bool) {
    if once || json || !std::io::stdout().is_terminal() {
        let code = TimeCode::showing(Timestamp::now());
        let value = json!({ "text": code.text(), "second": code.second().to_string() });
        output::either(json, &value, || screen(&code));
        return;
    }
    let mut first = true;
    loop {
        let code = TimeCode::showing(Timestamp::now());
        let text = format!("{}\nCtrl-C ends it.", screen(&code));
        {
            let mut out = std::io::stdout().lock();
            if !first {
                // Back to the top of what was printed, so that it does not flicker.
                let _ = write!(out, "\u{1b}[{}A", text.lines().count());
            }
            let _ = writeln!(out, "{text}");
            let _ = out.flush();
        }
        first = false;
        let wait = code.next_at().duration_since(Timestamp::now());
        let wait = Duration::try_from(wait).unwrap_or_default();
        tokio::select! {
            () = tokio::time::sleep(wait) => {}
            _ = tokio::signal::ctrl_c() => return,
        }
    }
}

fn screen(code: &TimeCode) -> String {
    let mut lines = code.modules().half_blocks();
    lines.push(format!("{:.0}", code.second()));
    lines.push("Photograph this with each camera, then add the photos.".into());
    lines.join("\n")
}

/// How far off a camera's clock is, in words.
pub fn clock_words(off: SignedDuration) -> String {
    let seconds = off.as_secs_f64();
    let way = if seconds >= 0.0 { "slow" } else { "fast" };
    let size = seconds.abs();
    let amount = if size < 60.0 {
        format!("{size:.1} s")
    } else {
        let whole = SignedDuration::from_secs(size.round() as i64);
        format!("{whole:#}")
    };
    format!("Its camera's clock is {amount} {way}; its photos are corrected by that.")
}
