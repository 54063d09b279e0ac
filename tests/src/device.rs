//! A device of a crew: a shop folder and the real program, on this machine's loopback or on a host
//! of a network made for the test.

use std::ffi::OsString;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::Shop;

/// How many entries a list has.
pub fn count(value: &Value, key: &str) -> usize {
    value[key].as_array().map_or(0, Vec::len)
}

/// A device.
#[derive(Default)]
pub struct Device {
    pub shop: Shop,
    /// What to run the program by: nothing, or a command that runs it on another host.
    by: Vec<OsString>,
}

impl Device {
    /// One on this machine, which it doesn't leave.
    pub fn new() -> Self {
        Self::default()
    }

    /// One whose program is run by another command.
    pub fn run_by(by: &[&str]) -> Self {
        Self {
            by: by.iter().map(OsString::from).collect(),
            ..Self::default()
        }
    }

    /// The command, ready to be run.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = self.shop.command(args);
        let Some((first, rest)) = self.by.split_first() else {
            command.env("DATUMTRAIL_LOOPBACK", "1");
            return command;
        };
        let mut outer = Command::new(first);
        outer.args(rest).arg(command.get_program());
        outer.args(command.get_args()).env_remove("DATUMTRAIL_SHOP");
        outer
            .env_remove("DATUMTRAIL_PERSON")
            .env_remove("DATUMTRAIL_LOG");
        outer
    }

    /// Runs it, expects success, gives what it printed.
    pub fn ok(&self, args: &[&str]) -> String {
        let output = self.command(args).output().expect("the program runs");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{args:?}:\n{text}{said}");
        text
    }

    /// The same with `--json`, gives the value.
    pub fn json(&self, args: &[&str]) -> Value {
        let mut all = vec!["--json"];
        all.extend(args);
        let text = self.ok(&all);
        serde_json::from_str(&text).unwrap_or_else(|e| panic!("{args:?}: {e}\n{text}"))
    }

    /// Runs it, expects failure, gives what it said.
    pub fn refused(&self, args: &[&str]) -> String {
        let output = self.command(args).output().expect("the program runs");
        assert!(!output.status.success(), "{args:?} should be refused");
        String::from_utf8_lossy(&output.stderr).into_owned()
    }

    /// A command that runs on, with the lines that it prints.
    pub fn running(&self, args: &[&str]) -> Running {
        let mut child = self
            .command(args)
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let out = child.stdout.take().expect("its output");
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    return;
                }
            }
        });
        Running { child, lines }
    }

    /// `sync`, until it is dropped.
    pub fn sync(&self) -> Running {
        let running = self.running(&["sync"]);
        running.line("Sharing");
        running
    }

    /// Brings another device in.
    pub fn admits(&self, other: &Device, role: &str, name: &str) {
        let invite = self.running(&["crew", "invite", "--role", role, "--name", name]);
        let ticket = invite.line("DTCREW");
        other.ok(&["crew", "join", ticket.trim()]);
        invite.ends();
    }

    /// The JSON of a command that may end with another exit code than 0.
    pub fn json_anyway(&self, args: &[&str]) -> Value {
        let mut all = vec!["--json"];
        all.extend(args);
        let output = self.command(&all).output().expect("the program runs");
        let text = String::from_utf8_lossy(&output.stdout);
        serde_json::from_str(&text).unwrap_or_else(|e| {
            panic!(
                "{args:?}: {e}\n{text}{}",
                String::from_utf8_lossy(&output.stderr)
            )
        })
    }

    /// Waits until a question is answered by yes.
    pub fn waits(&self, what: &str, args: &[&str], answer: impl Fn(&Value) -> bool) -> Value {
        let began = Instant::now();
        loop {
            let value = self.json(args);
            if answer(&value) {
                return value;
            }
            let waited = began.elapsed();
            assert!(waited < PATIENCE, "{what} did not come:\n{value:#}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

/// Long, since other tests run at the same time.
pub const PATIENCE: Duration = Duration::from_secs(90);

/// A command that runs on. Dropping it kills it.
pub struct Running {
    /// The process.
    pub child: Child,
    lines: Receiver<String>,
}

impl Running {
    /// The next line that holds some words.
    pub fn line(&self, words: &str) -> String {
        let mut seen = Vec::new();
        let until = Instant::now() + PATIENCE;
        while let Ok(line) =
            (self.lines).recv_timeout(until.saturating_duration_since(Instant::now()))
        {
            if line.contains(words) {
                return line;
            }
            seen.push(line);
        }
        panic!("«{words}» was not said, but:\n{}", seen.join("\n"));
    }

    /// Waits until it ends well.
    pub fn ends(mut self) {
        let began = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("it can be asked") {
                assert!(status.success(), "it failed");
                return;
            }
            assert!(began.elapsed() < PATIENCE, "it goes on and on");
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
