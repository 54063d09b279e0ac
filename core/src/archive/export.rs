//! Puts an archive together, photo after photo, in a stream.
//!
//! The photos come first: by the time the page and the tables are written it is known which of
//! them could not be taken along, and the archive says so everywhere it matters. Until the very end
//! nothing stands under the final name ([`datumtrail_bag::BagWriter`]).

use std::path::{Path, PathBuf};

use data_encoding::BASE64;
use datumtrail_bag::{BagWriter, Compression, Options};
use datumtrail_photo::kind::Kind;
use datumtrail_photo::orientation::Orientation;
use datumtrail_photo::preview::preview_as;
use jiff::Timestamp;
use serde::Serialize;

use super::outgoing;
use super::page::{self, Glimpses};
use super::readers::{self, CopyStory, Part, Reader, kept, withheld_seals};
use super::report::{self, PaperSize, Pictures};
use super::story::{Story, Telling, sheet};
use super::texts::{SCHEMA, document_json, readme};
use super::{PROGRAM, bag_error, crate_json, file, names, signed, tables, words};
use crate::error::{Error, Result};
use crate::job::plan::{self, Plan};
use crate::job::record::RecordId;
use crate::job::reduce;
use crate::job::tie::zone_of;
use crate::job::view::JobView;
use crate::store::DeviceKey;
use crate::store::blobs::BlobId;

/// The long side of the pictures embedded in the page, pixels: enough to recognise a photo by, at
/// about a kilobyte each.
const GLIMPSE: u32 = 48;

/// How to export.
#[derive(Clone, Debug, Default)]
pub struct ExportOptions {
    /// The shop's name, for the page and for `bag-info.txt`.
    pub organization: Option<String>,
    /// Whether to go on without photos whose bytes are missing or damaged. The archive then says
    /// which.
    pub allow_missing: bool,
    /// Whether the photos' positions go out too.
    pub with_location: bool,
    /// Whom it is for, which decides what is left out.
    pub reader: Reader,
    /// What report.pdf is laid out for.
    pub paper: PaperSize,
}

/// An archive that was written.
#[derive(Clone, Debug, Serialize)]
pub struct ExportSummary {
    pub path: PathBuf,
    /// The job's identity.
    pub job: String,
    /// Files of the job in it, and their bytes.
    pub files: u64,
    pub bytes: u64,
    /// Original photos in it.
    pub photos: usize,
    /// Photos that could not be taken along.
    pub left_out: Vec<LeftOut>,
    /// Whom it is for, and what was left out of it.
    pub copy: CopyStory,
    /// Notes for the shop alone that are in it.
    pub internal_notes: usize,
    /// SHA-512 of `manifest-sha512.txt`: one number for the whole job.
    pub manifest_sha512: String,
    /// SHA-512 of `tagmanifest-sha512.txt`: one number for the whole archive.
    pub tag_manifest_sha512: String,
}

/// A photo that could not be taken along.
#[derive(Clone, Debug, Serialize)]
pub struct LeftOut {
    pub photo: RecordId,
    pub name: String,
    pub why: String,
}

/// What an archive is made of, but for the photos' bytes.
pub(crate) struct Content {
    story: Story,
    view: JobView,
    plan: Plan,
    document: Vec<u8>,
    now: Timestamp,
    organization: Option<String>,
    /// The device that signs the whole.
    signer: Option<DeviceKey>,
}

/// A photo whose bytes are wanted.
#[derive(Clone, Debug)]
pub(crate) struct Wanted {
    pub photo: RecordId,
    pub name: String,
    pub original: BlobId,
    pub preview: Option<BlobId>,
}

/// A photo's bytes, or why they can't be had.
pub(crate) struct Arrival {
    pub photo: RecordId,
    pub original: std::result::Result<Vec<u8>, String>,
    /// Where the original is not here: a copy that came with an archive, and how it differs.
    pub kept: Option<(Vec<u8>, String)>,
    pub preview: Option<Vec<u8>>,
}

impl Content {
    /// Reads a saved document. All that the archive says follows from these bytes, which are also
    /// the ones that go into it.
    pub fn read(
        saved: Vec<u8>,
        document: &str,
        now: Timestamp,
        options: &ExportOptions,
    ) -> Result<Self> {
        let whole = JobView::load(&saved, document)?;
        let reader = options.reader;
        if options.with_location && reader.is_reduced() {
            return Err(Error::invalid(
                format!(
                    "a copy for the {} leaves the photos' positions out",
                    reader.word()
                ),
                "leave --with-location out, or export the record itself without --for",
            ));
        }
        let reduced = match reader.is_reduced() {
            true => Some(reduce(&saved, &whole, &kept(reader))?),
            false => None,
        };
        let withheld = reduced.as_ref().map(|r| r.seals.as_slice());
        let withheld = withheld_seals(&whole, withheld.unwrap_or_default(), reader)?;
        let copy = readers::tell(
            reader,
            options.with_location,
            &whole,
            reduced.as_ref(),
            withheld,
        );
        let (view, saved) = match reduced {
            // It is no version of the job's own document, so it does not have its identity.
            Some(reduced) => (JobView::load(&reduced.saved, "")?, reduced.saved),
            None => (whole, saved),
        };
        let plan = Plan::parse(plan_text(&view))?;
        let organization = options.organization.as_deref().map(words::one_line);
        let organization = organization.filter(|o| !o.is_empty());
        let telling = Telling {
            now,
            organization: organization.as_deref(),
            copy,
        };
        let mut story = Story::tell(&view, &plan, &telling);
        names::lay_out(&mut story.photos, &plan);
        Ok(Self {
            story,
            view,
            plan,
            document: saved,
            now,
            organization,
            signer: None,
        })
    }

    /// Has the whole archive signed by a device.
    pub fn signed_by(mut self, key: DeviceKey) -> Self {
        self.signer = Some(key);
        self
    }

    /// The photos in the order in which they are to arrive.
    pub fn wanted(&self) -> Vec<Wanted> {
        let photos = self.story.photos.iter();
        photos
            .map(|p| Wanted {
                photo: p.id.clone(),
                name: p.name.clone(),
                original: p.blob.clone(),
                preview: p.preview_blob.clone(),
            })
            .collect()
    }

    /// Writes the archive: a zip where the target's name ends in `.zip`, else a folder.
    ///
    /// # Errors
    /// As [`crate::shop::Job::export`]; nothing is then left under the target's name.
    pub fn write(
        mut self,
        target: &Path,
        options: &ExportOptions,
        arrivals: impl Iterator<Item = Arrival>,
    ) -> Result<ExportSummary> {
        let mut bag = self.begin(target)?;
        self.describe(&mut bag)?;
        let mut pictures = Pictures::of(self.story.photos.len());
        let (glimpses, left_out) = self.add_photos(&mut bag, options, arrivals, &mut pictures)?;
        self.story.settle();
        let report = report::write(
            &self.story,
            &self.view,
            &self.document,
            pictures,
            options.paper,
        )?;
        let texts = [
            (file::TIMELINE, page::render(&self.story, &glimpses)),
            (file::README, readme(&self.story, &self.plan)),
            (file::MEASUREMENTS, tables::measurements(&self.view)?),
            (file::READINGS, tables::readings(&self.view)?),
            (file::TRAMS, tables::trams(&self.view)?),
            (file::ESTIMATE, tables::estimate(&self.view)?),
            (file::JOB_JSON, document_json(&self.story, &self.view)?),
            (file::SCHEMA, SCHEMA.to_owned()),
            (file::PLAN, plan_text(&self.view).to_owned()),
        ];
        let device = self.signer.as_ref().map(|key| key.id().0);
        let seals = signed::payload(&self.view, &self.plan, device.as_deref());
        let sheets = sheet::files(&self.view);
        let sizes = (texts
            .iter()
            .map(|(name, text)| ((*name).to_owned(), text.len())))
        .chain(
            sheets
                .iter()
                .map(|(name, s)| (name.clone(), s.body.text.len())),
        )
        .chain(seals.iter().map(|(name, text)| (name.clone(), text.len())))
        .chain([(file::DOCUMENT.to_owned(), self.document.len())])
        .chain(
            report
                .iter()
                .map(|pdf| (file::REPORT.to_owned(), pdf.len())),
        )
        .map(|(name, size)| (name, size as u64))
        .collect();
        let described = crate_json::describe(&self.story, &sizes);
        bag.add_payload(file::CRATE, described.as_bytes(), Compression::Deflated)
            .map_err(bag_error)?;
        if let Some(pdf) = &report {
            // Its text is compressed already.
            bag.add_payload(file::REPORT, pdf.as_slice(), Compression::Stored)
                .map_err(bag_error)?;
        }
        for (name, text) in &texts {
            bag.add_payload(name, text.as_bytes(), Compression::Deflated)
                .map_err(bag_error)?;
        }
        for (name, sheet) in &sheets {
            let text = sheet.body.text.as_bytes();
            bag.add_payload(name, text, Compression::Deflated)
                .map_err(bag_error)?;
        }
        // Automerge compresses by itself.
        bag.add_payload(
            file::DOCUMENT,
            self.document.as_slice(),
            Compression::Stored,
        )
        .map_err(bag_error)?;
        for (name, text) in &seals {
            bag.add_payload(name, text.as_bytes(), Compression::Deflated)
                .map_err(bag_error)?;
        }
        let summary = self.finish(bag)?;
        Ok(ExportSummary {
            path: target.to_owned(),
            job: self.view.id.clone(),
            files: summary.payload_files,
            bytes: summary.payload_bytes,
            photos: self.story.photos.len() - left_out.len(),
            left_out,
            internal_notes: self.view.notes.iter().filter(|n| n.body.internal).count(),
            copy: self.story.copy,
            manifest_sha512: summary.manifest.to_string(),
            tag_manifest_sha512: summary.tag_manifest.to_string(),
        })
    }

    /// Completes the bag, with the signature over the whole where a device signs.
    fn finish(&self, mut bag: BagWriter) -> Result<datumtrail_bag::Summary> {
        let Some(key) = &self.signer else {
            return bag.finish().map_err(bag_error);
        };
        let device = key.id();
        let name = self.view.devices.get(&device.0).map_or("", String::as_str);
        let principal = datumtrail_seal::principal(name, &key.public());
        let page = signed::page(&self.story, &self.view, &self.plan, Some(&principal));
        bag.add_tag(signed::PAGE, page.as_bytes())
            .map_err(bag_error)?;
        bag.finish_with(|closing| {
            let files = [
                ("bagit.txt", closing.declaration),
                ("bag-info.txt", closing.bag_info),
                ("manifest-sha512.txt", closing.manifest),
                (signed::PAGE, page.as_str()),
            ];
            let told = &self.story.head.told;
            let list = signed::list(&self.view.id, &device.0, told, &files);
            let signature = key.sign(list.as_bytes())?;
            Ok(vec![
                (signed::LIST.to_owned(), list.into_bytes()),
                (signed::SIGNATURE.to_owned(), signature.into_bytes()),
            ])
        })
        .map_err(bag_error)
    }

    fn begin(&self, target: &Path) -> Result<BagWriter> {
        let time = zone_of(&self.view).to_datetime(self.now);
        let options = Options::at(time);
        let zip = target
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
        if zip {
            BagWriter::zip(target, &names::top_folder(target), &options).map_err(bag_error)
        } else {
            BagWriter::folder(target, &options).map_err(bag_error)
        }
    }

    /// The fields of `bag-info.txt`.
    fn describe(&self, bag: &mut BagWriter) -> Result<()> {
        let head = &self.story.head;
        let description = match &head.vehicle {
            Some(vehicle) => format!("Record of a structural repair: {}, {vehicle}", head.name),
            None => format!("Record of a structural repair: {}", head.name),
        };
        let fields = [
            ("Source-Organization", self.organization.clone()),
            ("External-Description", Some(words::cut(&description, 300))),
            ("External-Identifier", Some(words::one_line(&head.job))),
            ("Copy-For", Some(self.story.copy.reader.word().to_owned())),
            (
                "Internal-Sender-Identifier",
                Some(words::one_line(&head.document)),
            ),
            ("Bag-Software-Agent", Some(PROGRAM.to_owned())),
        ];
        for (label, value) in fields {
            if let Some(value) = value.filter(|v| !v.is_empty()) {
                bag.info(label, &value).map_err(bag_error)?;
            }
        }
        Ok(())
    }

    fn add_photos(
        &mut self,
        bag: &mut BagWriter,
        options: &ExportOptions,
        mut arrivals: impl Iterator<Item = Arrival>,
        pictures: &mut Pictures,
    ) -> Result<(Glimpses, Vec<LeftOut>)> {
        let mut glimpses = Glimpses::new();
        let mut left_out = Vec::new();
        for photo in &mut self.story.photos {
            let covers = outgoing::covers(&self.view, &photo.id);
            let arrival = arrivals
                .next()
                .filter(|a| a.photo == photo.id)
                .ok_or_else(|| {
                    // The sender stopped: half an archive must not look like a whole one.
                    Error::Internal("the export was broken off".into())
                })?;
            let mut small = arrival.preview;
            let outgoing = |bytes| {
                if !options.reader.leaves_out(Part::CoveredParts) {
                    return Ok(outgoing::as_it_is(bytes));
                }
                outgoing::outgoing(bytes, &covers, options.with_location)
                    // What can't be freed of it stays in the shop, and the archive says so.
                    .map_err(|why| (why, true))
            };
            let going_out = match (arrival.original, arrival.kept) {
                (Ok(bytes), _) => outgoing(bytes),
                (Err(_), Some((bytes, differs))) => {
                    outgoing(bytes).map(|out| out.of_a_copy(&differs))
                }
                (Err(why), None) => Err((why, options.allow_missing)),
            };
            match (going_out, &photo.file) {
                (Ok(out), Some(path)) => {
                    bag.add_payload(path, out.bytes.as_slice(), Compression::Stored)
                        .map_err(bag_error)?;
                    photo.copy = out.copy;
                    if let Some(covered) = out.preview {
                        photo.preview_blob =
                            Some(BlobId(blake3::hash(&covered).to_hex().to_string()));
                        small = Some(covered);
                    }
                    pictures.add(&photo.id, out.bytes);
                }
                (Err((why, true)), _) => {
                    left_out.push(LeftOut {
                        photo: photo.id.clone(),
                        name: photo.name.clone(),
                        why: why.clone(),
                    });
                    photo.left_out = Some(why);
                    photo.file = None;
                    // A small picture would show what must stay covered.
                    small = small.filter(|_| covers.is_empty());
                }
                (Err((why, false)), _) => return Err(missing(&[(photo.name.clone(), why)])),
                (Ok(_), None) => {
                    return Err(Error::Internal(
                        "a photo has no place in the archive".into(),
                    ));
                }
            }
            match (small, &photo.preview) {
                (Some(bytes), Some(path)) => {
                    bag.add_payload(path, bytes.as_slice(), Compression::Stored)
                        .map_err(bag_error)?;
                    glimpses.extend(glimpse(&bytes).map(|g| (photo.id.clone(), g)));
                }
                // A small copy proves nothing: the page does without it.
                _ => photo.preview = None,
            }
        }
        Ok((glimpses, left_out))
    }
}

/// The text of the plan that counts.
pub(super) fn plan_text(view: &JobView) -> &str {
    view.plan.value.as_deref().unwrap_or(plan::SHIPPED)
}

/// Some photos' bytes can't be had.
pub(crate) fn missing(photos: &[(String, String)]) -> Error {
    let lines: Vec<String> = photos
        .iter()
        .map(|(name, why)| format!("{}: {why}", words::one_line(name)))
        .collect();
    Error::Damaged {
        what: PathBuf::from(words::count(photos.len(), "photo", "photos")),
        why: words::short_list(&lines, 5),
        todo: "fetch them again from another device or an archive; or export without them, which \
               the archive then says: --allow-missing"
            .into(),
    }
}

/// The photo in a few bytes, as an address that a page can hold.
fn glimpse(preview: &[u8]) -> Option<String> {
    let small = preview_as(preview, Kind::Jpeg, Orientation::default(), GLIMPSE).ok()?;
    Some(format!(
        "data:image/jpeg;base64,{}",
        BASE64.encode(&small.jpeg)
    ))
}
