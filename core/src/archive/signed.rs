//! What of signatures lies in an archive: the seals of stages, a signature over the whole, whose keys
//! they are, and a page that says how to check them with programs that nearly every computer has.
//!
//! ```text
//! HOW-TO-CHECK.txt            the commands, one for each signature
//! signature/archive.sha512    the digests of the bag's own files, in the form of sha512sum
//! signature/archive.sha512.sig
//! data/seals/allowed_signers  whose key is whose
//! data/seals/02-STAGE-1.json  what was signed of a stage, word for word
//! data/seals/02-STAGE-1.json.sig
//! ```
//!
//! # The whole
//! `manifest-sha512.txt` has the digest of every file below `data/`, so a signature over it, over
//! `bag-info.txt` and over `bagit.txt` covers the archive. `archive.sha512` lists the digests of these,
//! and that list is what is signed: three commands (`ssh-keygen -Y verify`, `sha512sum -c` of the list,
//! `sha512sum -c` of the manifest) go from the signature down to each byte of each photo.
//!
//! The list and its signature lie outside the payload, as tag files of the bag: they can't be in what
//! they sign. The tag manifest, which lists them, is therefore not signed itself. It need not be: it
//! says nothing that a signed digest does not say, but for the digests of the signature's own files
//! and of `zip-layout.txt`, which describes the zip around the bag and nothing in it.

use datumtrail_seal::{Digest, SealedFile, how_to_verify};

use super::file;
use super::sealed::allowed_signers;
use super::story::Story;
use crate::job::plan::Plan;
use crate::job::record::Seal;
use crate::job::view::{Entry, JobView};

/// The list that is signed, the signature over it, and the page that says how to check both.
pub(super) const LIST: &str = "signature/archive.sha512";
pub(super) const SIGNATURE: &str = "signature/archive.sha512.sig";
pub(super) const PAGE: &str = "HOW-TO-CHECK.txt";
/// What the first line of the list says that it is.
pub(super) const KIND: &str = "datumtrail signed archive 1";

/// A seal's files below `data/`, and what is in them.
pub(super) struct SealFiles<'v> {
    pub seal: &'v Entry<Seal>,
    pub content: String,
    pub signature: String,
}

/// Where each seal lies: in stage order by name, those of a stage numbered.
pub(super) fn seal_files<'v>(view: &'v JobView, plan: &Plan) -> Vec<SealFiles<'v>> {
    let mut all: Vec<SealFiles<'v>> = Vec::new();
    for seal in &view.seals {
        let stage = &seal.body.stage;
        let earlier = all.iter().filter(|s| s.seal.body.stage == *stage).count();
        let place = plan.place(stage).map_or(97, |place| (place + 1).min(97));
        let name = super::names::stage_folder(place, stage);
        let content = format!("{}{name}-{}.json", file::SEALS, earlier + 1);
        all.push(SealFiles {
            seal,
            signature: format!("{content}.sig"),
            content,
        });
    }
    all
}

/// Everything that lies in `data/seals/`: paths below `data/`, and texts. `signer` is the device that
/// signs the whole.
pub(super) fn payload(view: &JobView, plan: &Plan, signer: Option<&str>) -> Vec<(String, String)> {
    let mut files = Vec::new();
    for seal in seal_files(view, plan) {
        files.push((seal.content, seal.seal.body.sealed.clone()));
        files.push((seal.signature, seal.seal.body.signature.clone()));
    }
    let others: Vec<String> = signer.map(str::to_owned).into_iter().collect();
    let allowed = allowed_signers(view, &others);
    if !allowed.is_empty() {
        files.push((file::ALLOWED.to_owned(), allowed));
    }
    files
}

/// The page beside `data/`. `signer` is the principal who signs the whole.
pub(super) fn page(story: &Story, view: &JobView, plan: &Plan, signer: Option<&str>) -> String {
    let below = |path: &str| format!("data/{path}");
    let mut files = Vec::new();
    for (seal, state) in seal_files(view, plan).iter().zip(&story.seals) {
        files.push(SealedFile {
            file: below(&seal.content),
            signature: below(&seal.signature),
            principal: state.principal.clone(),
            what: format!("The stage {}, sealed by {}", state.title, state.author),
        });
    }
    if let Some(principal) = signer {
        files.push(SealedFile {
            file: LIST.into(),
            signature: SIGNATURE.into(),
            principal: principal.to_owned(),
            what: "The whole archive".into(),
        });
    }
    let mut page = how_to_verify(&below(file::ALLOWED), &files);
    if signer.is_some() {
        page += WHOLE;
    }
    if !story.seals.is_empty() {
        page += STAGES;
    }
    page
}

const WHOLE: &str = "
From the signature of the whole to every photo

    sha512sum -c signature/archive.sha512
    sha512sum -c manifest-sha512.txt

(macOS: shasum -a 512 -c in place of sha512sum -c.) The first compares the
list of files, which was signed, with what is there; the second every file in
data/ with that list. Each line has to end with OK. Files in data/ that the
list does not name would not be noticed by these commands; `datumtrail verify`
and every BagIt validator notice them.
";

const STAGES: &str = "
What the seal of a stage covers

The file in data/seals/ is what was signed: the stage's records as they stood
then, each under its identity, as JSON. A photo is in it by the BLAKE3 hash of
its bytes: `b3sum FILE` must give the photo's \"blob\", where the archive has
the original and not a copy. What was added or changed in the stage since then
is told in data/timeline.html, under Seals.
";

/// The list that is signed: the digests of the bag's own files.
pub(super) fn list(job: &str, device: &str, written: &str, files: &[(&str, &str)]) -> String {
    let mut text = format!("# {KIND}\n# job {job}\n# device {device}\n# written {written}\n");
    for (name, content) in files {
        text += &format!("{}  {name}\n", Digest::of(content.as_bytes()));
    }
    text
}
