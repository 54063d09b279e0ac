//! Whether every seal holds, and the signature over the whole.

use datumtrail_seal::Digest;
use serde::Serialize;

use super::FindingKind;
use super::content::Check;
use crate::archive::sealed::{self, allowed_signers};
use crate::archive::{file, signed, words};
use crate::job::plan::Plan;
use crate::job::view::JobView;
use crate::store::DeviceId;

/// What the signed list must name for the signature to cover the archive.
const COVERED: [&str; 3] = ["bagit.txt", "bag-info.txt", "manifest-sha512.txt"];

/// Who signed the whole archive.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ArchiveSignature {
    /// The signer in the list of allowed signers.
    pub principal: String,
    /// The device's public key, hexadecimal.
    pub key: String,
    /// When the device says it signed, RFC 3339. The signature itself does not show when.
    pub written: String,
}

impl Check {
    /// The seals of stages.
    pub fn seals(&mut self, view: &JobView, plan: &Plan, there: &[String]) {
        let expected = signed::payload(view, plan, None);
        for (name, text) in &expected {
            // Whose keys they are depends on who signed the whole: `signature` compares that.
            if name != file::ALLOWED {
                self.same_as_recorded(name, text, there);
            }
        }
        for path in there.iter().filter(|p| p.starts_with(file::SEALS)) {
            if path != file::ALLOWED && !expected.iter().any(|(name, _)| name == path) {
                self.find(
                    path,
                    FindingKind::NotRecorded,
                    "no seal of the job lies there",
                );
            }
        }
        let states = sealed::states(view, plan);
        let files = signed::seal_files(view, plan);
        for (state, files) in states.iter().zip(&files) {
            if let Some(why) = &state.broken {
                let detail = format!("the seal of {} does not hold: {why}", state.title);
                self.find(&files.content, FindingKind::Seal, detail);
            }
        }
        self.found.seals = states;
    }

    /// The signature over the whole.
    pub fn signature(&mut self, view: &JobView, there: &[String]) {
        let names_keys = there.iter().any(|path| path == file::ALLOWED);
        if self.reader.text(signed::LIST).is_none() {
            match (self.tag_named_by_the_bag(signed::LIST), names_keys) {
                (true, _) => {}
                (false, true) => self.find(
                    signed::LIST,
                    FindingKind::Missing,
                    "the archive was signed, and its signature is not there",
                ),
                (false, false) => self
                    .found
                    .notes
                    .push("nobody signed the whole archive".into()),
            }
            return;
        }
        let texts = (self.tag(signed::LIST), self.tag(signed::SIGNATURE));
        let (Some(list), Some(signature)) = texts else {
            return;
        };
        match self.signer(view, &list, &signature) {
            Ok(signer) => self.found.signature = Some(signer),
            Err(why) => self.find(signed::LIST, FindingKind::Signature, why),
        }
    }

    /// Who signed, or why the signature proves nothing.
    fn signer(
        &mut self,
        view: &JobView,
        list: &str,
        signature: &str,
    ) -> Result<ArchiveSignature, String> {
        let said = |label: &str| {
            let lines = list.lines().filter_map(|line| line.strip_prefix("# "));
            let mut values = lines.filter_map(|line| line.strip_prefix(label)?.strip_prefix(' '));
            values.next().unwrap_or_default().to_owned()
        };
        if list.lines().next() != Some(&format!("# {}", signed::KIND)) {
            return Err("the signed list is of a kind not known to this version".into());
        }
        if said("job") != view.id {
            return Err(format!(
                "the signed list is of another job ({})",
                words::cut(&said("job"), 80)
            ));
        }
        let device = said("device");
        let allowed = allowed_signers(view, std::slice::from_ref(&device));
        if let Some(found) = self.payload_text(file::ALLOWED)
            && found != allowed
        {
            self.find(
                file::ALLOWED,
                FindingKind::Recomputed,
                "it does not list the devices that sealed and signed, and only these",
            );
        }
        let signer = datumtrail_seal::verify(list.as_bytes(), signature, &allowed)
            .map_err(|e| e.to_string())?;
        if DeviceId(device.clone()).bytes() != Some(signer.key) {
            return Err("it was signed by another device than the list names".into());
        }
        let mut covered = Vec::new();
        for line in list.lines().filter(|line| !line.starts_with('#')) {
            let (digest, name) = line
                .split_once("  ")
                .and_then(|(digest, name)| Some((Digest::parse(digest)?, name)))
                .ok_or("a line of the signed list can't be understood")?;
            if COVERED.contains(&name) {
                covered.push(name.to_owned());
            }
            // What can't be read has been named by the check of the bag.
            if let Some(text) = self.tag(name)
                && Digest::of(text.as_bytes()) != digest
            {
                self.find(
                    name,
                    FindingKind::Signature,
                    "it is not what was signed with the whole archive",
                );
            }
        }
        if let Some(missing) = COVERED
            .iter()
            .find(|name| !covered.iter().any(|c| c == *name))
        {
            return Err(format!("the signed list does not cover {missing}"));
        }
        Ok(ArchiveSignature {
            principal: signer.principal,
            key: device,
            written: said("written"),
        })
    }

    /// A payload file that must be what the document says.
    fn same_as_recorded(&mut self, name: &str, text: &str, there: &[String]) {
        if !there.iter().any(|path| path == name) {
            if !self.named_by_the_bag(name) {
                self.find(
                    name,
                    FindingKind::Missing,
                    "the job has a seal that belongs there",
                );
            }
        } else if let Some(found) = self.payload_text(name)
            && found != text
        {
            self.find(
                name,
                FindingKind::Recomputed,
                "it is not what the document has of the seal",
            );
        }
    }

    fn payload_text(&mut self, name: &str) -> Option<String> {
        Some(String::from_utf8_lossy(&self.read(name)?).into_owned())
    }

    /// The text of a file beside `data/`, as it is.
    fn tag(&mut self, name: &str) -> Option<String> {
        let why = match self.reader.text(name) {
            Some(Ok(text)) => return Some(text),
            Some(Err(why)) => why.to_string(),
            None => "it is not there".into(),
        };
        let named = self.found.findings.iter().any(|f| f.file == name);
        if !named && !self.tag_named_by_the_bag(name) {
            self.find(name, FindingKind::Unreadable, why);
        }
        None
    }
}
