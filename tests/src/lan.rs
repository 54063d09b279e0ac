//! A network of hosts on this machine: network namespaces joined by a bridge, or by a link that
//! loses and delays. It needs root and iproute2 on Linux; where it can't be made, tests say that
//! they were skipped.

use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

use crate::device::Device;

/// Sends what comes in at one interface out at another, late and not always.
const FORWARDER: &str = include_str!("lan/forwarder.py");
/// Prints what passes an interface: one line of JSON for each frame.
const CAPTURE: &str = include_str!("lan/capture.py");

/// Hosts and what joins them. Dropping it takes all of it away.
pub struct Lan {
    name: String,
    hosts: u32,
    joint: Joint,
}

enum Joint {
    Bridge,
    Link(Child),
}

impl Lan {
    /// Hosts with the addresses 10.77.N.1, 10.77.N.2 and so on, on one bridge, without a gateway.
    /// `None`, loudly, where that can't be had.
    pub fn bridge(hosts: u32) -> Option<Self> {
        Self::new(hosts, true)
    }

    /// Two hosts joined by a link that delays each frame by `delay_ms` and loses `loss` of a
    /// hundred, in both directions.
    pub fn link(delay_ms: u32, loss: u32) -> Option<Self> {
        let mut lan = Self::new(2, false)?;
        let (one, other) = (lan.outside(1), lan.outside(2));
        // Frames longer than the network allows, or without check sums, can't be carried by hand.
        if let Err(why) = lan.without_offloads() {
            skipped(&why);
            return None;
        }
        let forwarder = Command::new("python3")
            .args(["-c", FORWARDER, &one, &other])
            .args([delay_ms.to_string(), loss.to_string()])
            .stdin(Stdio::null())
            .spawn();
        match forwarder {
            Ok(child) => {
                lan.joint = Joint::Link(child);
                Some(lan)
            }
            Err(e) => {
                skipped(&format!("python3 is not there: {e}"));
                None
            }
        }
    }

    fn new(hosts: u32, bridged: bool) -> Option<Self> {
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        if !cfg!(target_os = "linux") {
            skipped("this is not Linux");
            return None;
        }
        install("ip", "-V", "iproute2");
        // Short, since interfaces have at most 15 letters.
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let name = format!("dt{}n{number}", std::process::id() % 100_000);
        let lan = Self {
            name,
            hosts,
            joint: Joint::Bridge,
        };
        match lan.make(bridged) {
            Ok(()) => Some(lan),
            Err(why) => {
                skipped(&why);
                None
            }
        }
    }

    fn make(&self, bridged: bool) -> Result<(), String> {
        if bridged {
            ip(&["link", "add", &self.name, "type", "bridge"])?;
            ip(&["link", "set", &self.name, "up"])?;
        }
        for host in 1..=self.hosts {
            let (space, outside) = (self.space(host), self.outside(host));
            ip(&["netns", "add", &space])?;
            ip(&[
                "link", "add", &outside, "type", "veth", "peer", "name", "e0", "netns", &space,
            ])?;
            if bridged {
                ip(&["link", "set", &outside, "master", &self.name])?;
            }
            ip(&["link", "set", &outside, "up"])?;
            let address = format!("{}/24", self.address(host));
            ip(&["-n", &space, "addr", "add", &address, "dev", "e0"])?;
            ip(&["-n", &space, "link", "set", "e0", "up"])?;
            ip(&["-n", &space, "link", "set", "lo", "up"])?;
        }
        Ok(())
    }

    fn without_offloads(&self) -> Result<(), String> {
        install("ethtool", "--version", "ethtool");
        let off = ["tx", "off", "gso", "off", "gro", "off", "tso", "off"];
        for host in 1..=self.hosts {
            let (space, outside) = (self.space(host), self.outside(host));
            let inner = ["netns", "exec", &space, "ethtool", "-K", "e0"];
            ip(&[&inner[..], &off[..]].concat())?;
            let done = Command::new("ethtool")
                .args(["-K", &outside])
                .args(off)
                .output();
            match done {
                Ok(output) if output.status.success() => {}
                _ => return Err("ethtool could not be used".into()),
            }
        }
        Ok(())
    }

    fn space(&self, host: u32) -> String {
        format!("{}h{host}", self.name)
    }

    /// The end of a host's cable that is not in the host.
    fn outside(&self, host: u32) -> String {
        format!("{}v{host}", self.name)
    }

    /// A host's address.
    pub fn address(&self, host: u32) -> String {
        format!("10.77.7.{host}")
    }

    /// A device on a host.
    pub fn device(&self, host: u32) -> Device {
        Device::run_by(&["ip", "netns", "exec", &self.space(host)])
    }

    /// Tells the hosts where everything else is, as a router does; nobody is there.
    pub fn routed(&self) {
        for host in 1..=self.hosts {
            let space = self.space(host);
            ip(&["-n", &space, "route", "add", "default", "dev", "e0"]).expect("a route");
        }
    }

    /// Pulls a host's cable.
    pub fn pull(&self, host: u32) {
        ip(&["link", "set", &self.outside(host), "down"]).expect("a cable");
    }

    /// Plugs it in again.
    pub fn plug(&self, host: u32) {
        ip(&["link", "set", &self.outside(host), "up"]).expect("a cable");
    }

    /// Gives a host another address, such as a router does after a while.
    pub fn moves(&self, host: u32, last: u32) {
        let space = self.space(host);
        let (old, new) = (self.address(host), format!("10.77.7.{last}/24"));
        // The old one first: taking it away takes later ones of the same network with it.
        let old = format!("{old}/24");
        ip(&["-n", &space, "addr", "del", &old, "dev", "e0"]).expect("an address");
        ip(&["-n", &space, "addr", "add", &new, "dev", "e0"]).expect("an address");
    }

    /// Moves hosts to a bridge of their own: two halves that don't hear each other.
    pub fn parts(&self, hosts: &[u32]) {
        let apart = format!("{}x", self.name);
        ip(&["link", "add", &apart, "type", "bridge"]).expect("a bridge");
        ip(&["link", "set", &apart, "up"]).expect("a bridge");
        for host in hosts {
            ip(&["link", "set", &self.outside(*host), "master", &apart]).expect("a cable");
        }
    }

    /// Brings them back.
    pub fn joins(&self, hosts: &[u32]) {
        for host in hosts {
            ip(&["link", "set", &self.outside(*host), "master", &self.name]).expect("a cable");
        }
    }

    /// Listens to everything that passes the bridge, until it is dropped.
    pub fn capture(&self) -> Capture {
        // Else it sees only what is meant for this machine.
        ip(&["link", "set", &self.name, "promisc", "on"]).expect("a bridge");
        let file = tempfile::NamedTempFile::new().expect("a file");
        let child = Command::new("python3")
            .args(["-c", CAPTURE, &self.name])
            .stdout(file.reopen().expect("a file"))
            .spawn()
            .expect("python3 runs");
        std::thread::sleep(std::time::Duration::from_millis(500));
        Capture { child, file }
    }
}

/// What passes the bridge.
pub struct Capture {
    child: Child,
    file: tempfile::NamedTempFile,
}

impl Capture {
    /// Ends it. Gives the frames: `to` and `from`, the addresses, and `payload`, hexadecimal.
    pub fn frames(mut self) -> Vec<serde_json::Value> {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let text = std::fs::read_to_string(self.file.path()).expect("a file");
        // The last line may have been cut.
        let lines = text.lines().map(serde_json::from_str);
        lines.map_while(Result::ok).collect()
    }
}

impl Drop for Lan {
    fn drop(&mut self) {
        if let Joint::Link(child) = &mut self.joint {
            let _ = child.kill();
            let _ = child.wait();
        }
        for host in 1..=self.hosts {
            let _ = ip(&["netns", "del", &self.space(host)]);
            let _ = ip(&["link", "del", &self.outside(host)]);
        }
        let _ = ip(&["link", "del", &self.name]);
        let _ = ip(&["link", "del", &format!("{}x", self.name)]);
    }
}

fn ip(args: &[&str]) -> Result<(), String> {
    let output = Command::new("ip")
        .args(args)
        .output()
        .map_err(|e| format!("iproute2 is not there: {e}"))?;
    match output.status.success() {
        true => Ok(()),
        false => Err(format!(
            "ip {}: {}",
            args.join(" "),
            String::from_utf8_lossy(&output.stderr).trim()
        )),
    }
}

/// Installs a tool that is missing, where this may be done.
fn install(tool: &str, asked: &str, package: &str) {
    if Command::new(tool).arg(asked).output().is_ok() {
        return;
    }
    for args in [
        &["update", "-qq"][..],
        &["install", "-y", "-qq", "--no-install-recommends", package][..],
    ] {
        let _ = Command::new("apt-get").args(args).output();
    }
}

fn skipped(why: &str) {
    eprintln!("SKIPPED: no network of hosts can be made here: {why}");
}
