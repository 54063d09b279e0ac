//! How every seal of a job stands: whose it is, whether it holds, and what has changed since.

use datumtrail_seal::{Digest, SealError};
use serde::Serialize;
use serde_json::Value;

use super::changes_since;
use crate::archive::words;
use crate::job::plan::Plan;
use crate::job::record::{RecordId, Seal};
use crate::job::view::{Entry, JobView};
use crate::store::DeviceId;

/// A seal as it stands now.
#[derive(Clone, Debug, Serialize)]
pub struct SealState {
    /// The seal's identity.
    pub id: RecordId,
    /// The key of the stage that was sealed.
    pub stage: String,
    /// The stage's title.
    pub title: String,
    /// When it was sealed by the device's clock, RFC 3339. The signature itself does not show when.
    pub at: String,
    /// Who sealed it, and on which device.
    pub author: String,
    /// The device's public key, hexadecimal.
    pub key: String,
    /// The signer in the list of allowed signers.
    pub principal: String,
    /// SHA-512 of the text that was signed, hexadecimal.
    pub sha512: String,
    /// How it stands.
    pub standing: Standing,
    /// Why it does not hold; none where it does.
    pub broken: Option<String>,
    /// What was added or changed in the stage since, each a sentence.
    pub changes: Vec<String>,
    /// All of that in one sentence.
    pub words: String,
}

/// How a seal stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// The signature is the device's over this very text, and the stage is as it was sealed.
    Unchanged,
    /// The signature holds, and something was added or changed since.
    ChangedSince,
    /// It proves nothing.
    Broken,
}

impl SealState {
    /// Whether the signature is the device's over this very text.
    pub fn holds(&self) -> bool {
        self.standing != Standing::Broken
    }
}

/// Every seal of a job, in the order in which they were made.
pub fn states(view: &JobView, plan: &Plan) -> Vec<SealState> {
    view.seals
        .iter()
        .map(|seal| state(view, plan, seal))
        .collect()
}

fn state(view: &JobView, plan: &Plan, seal: &Entry<Seal>) -> SealState {
    let (standing, broken, changes) = match changes(view, plan, seal) {
        Ok(changes) if changes.is_empty() => (Standing::Unchanged, None, changes),
        Ok(changes) => (Standing::ChangedSince, None, changes),
        Err(why) => (Standing::Broken, Some(why), Vec::new()),
    };
    let title = plan.title_of(&seal.body.stage).to_owned();
    let author = view.author(&seal.stamp);
    let by = format!(
        "{title}, sealed by {author}, {}",
        words::moment(&seal.stamp.at)
    );
    let words = match (standing, &broken) {
        (Standing::Unchanged, _) => {
            format!("{by}: the signature holds; nothing was added or changed since.")
        }
        (Standing::ChangedSince, _) => format!(
            "{by}: the signature holds; {} made since.",
            words::count(changes.len(), "change was", "changes were")
        ),
        (Standing::Broken, why) => format!(
            "{by}: THE SEAL DOES NOT HOLD: {}.",
            why.as_deref().unwrap_or_default()
        ),
    };
    SealState {
        id: seal.id.clone(),
        stage: seal.body.stage.clone(),
        title,
        at: seal.stamp.at.clone(),
        author,
        key: seal.stamp.by.clone(),
        principal: principal(view, &seal.stamp.by),
        sha512: Digest::of(seal.body.sealed.as_bytes()).to_string(),
        standing,
        broken,
        changes,
        words,
    }
}

/// What has changed since, or why the seal proves nothing: a sentence without a full stop.
fn changes(view: &JobView, plan: &Plan, seal: &Entry<Seal>) -> Result<Vec<String>, String> {
    let Seal {
        stage,
        sealed,
        signature,
    } = &seal.body;
    let allowed = allowed_line(view, &seal.stamp.by)
        .ok_or("the record names no device whose signature could be checked")?;
    datumtrail_seal::verify(sealed.as_bytes(), signature, &allowed).map_err(|why| match why {
        SealError::UnknownSigner { key } => {
            format!("it was signed by the key {key}, not by the device that the record names")
        }
        other => other.to_string(),
    })?;
    let form: Value =
        serde_json::from_str(sealed).map_err(|e| format!("what was signed is no JSON ({e})"))?;
    let of = form.get("stage").and_then(Value::as_str);
    if of != Some(stage) {
        let of = of.unwrap_or("none");
        return Err(format!("what was signed is of another stage ({of})"));
    }
    changes_since(&form, view, plan).map_err(|e| e.to_string())
}

/// What a device is called in the list of allowed signers.
fn principal(view: &JobView, device: &str) -> String {
    let name = view.devices.get(device).map_or("", String::as_str);
    match DeviceId(device.to_owned()).bytes() {
        Some(key) => datumtrail_seal::principal(name, &key),
        None => device.to_owned(),
    }
}

/// The line of the list of allowed signers for a device; none where it is no key.
fn allowed_line(view: &JobView, device: &str) -> Option<String> {
    let name = view.devices.get(device).map_or("", String::as_str);
    let key = DeviceId(device.to_owned()).bytes()?;
    Some(datumtrail_seal::allowed_signers_line(name, &key))
}

/// The list of allowed signers for every device that sealed a stage, and others that signed.
pub(crate) fn allowed_signers(view: &JobView, others: &[String]) -> String {
    let mut devices: Vec<&str> = Vec::new();
    let sealing = view.seals.iter().map(|s| s.stamp.by.as_str());
    for device in sealing.chain(others.iter().map(String::as_str)) {
        if !devices.contains(&device) {
            devices.push(device);
        }
    }
    devices
        .into_iter()
        .filter_map(|device| allowed_line(view, device))
        .collect()
}
