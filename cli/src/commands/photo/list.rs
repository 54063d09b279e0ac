//! `datumtrail photo list`

use std::collections::BTreeMap;

use datumtrail_core::Result;
use datumtrail_core::job::alike::Together;
use datumtrail_core::job::record::{self, RecordId};
use datumtrail_core::job::tie::{PhotoTie, zone_of};
use datumtrail_core::job::view::{Entry, JobView};
use datumtrail_core::shop::Job;
use serde_json::{Value, json};

use super::{tie_words, ties_of};
use crate::commands::Context;
use crate::output;
use crate::show::table::Table;
use crate::show::{WIDTH, wrap};

pub fn run(context: &Context, job: &Job<'_>, stage: Option<&str>, every: bool) -> Result<()> {
    let all = job.view()?;
    let plan = job.plan(&all)?;
    if let Some(stage) = stage {
        plan.stage(stage)?;
    }
    let ties = ties_of(job)?;
    let together = Together::find(&all, &ties);
    let holders = all.holders();
    let mut photos: Vec<(&Entry<record::Photo>, &PhotoTie)> = all
        .photos
        .iter()
        .filter_map(|p| Some((p, ties.of(&p.id)?)))
        .filter(|(_, t)| stage.is_none() || t.tie.offered() == stage)
        .collect();
    photos.sort_by_key(|(p, t)| (t.moment().map(|m| m.at), p.id.clone()));
    let values: Vec<Value> = photos
        .iter()
        .map(|(p, t)| {
            let mut value = value(&all, p, t, &together);
            value["on_devices"] = json!(devices_of(&holders, &p.id).keys().collect::<Vec<_>>());
            value
        })
        .collect();
    output::either(context.json, &json!({ "photos": values }), || {
        if photos.is_empty() {
            return "No photos.".into();
        }
        let zone = zone_of(&all);
        let mut table = Table::new(&["identity", "taken", "name", "on", "belongs to"]);
        let mut doubtful = 0;
        let mut alone = 0;
        let mut contradicted = 0;
        for (photo, tie) in &photos {
            let on = devices_of(&holders, &photo.id).len();
            alone += usize::from(on < 2);
            doubtful += usize::from(tie.tie.is_doubtful());
            contradicted += usize::from(tie.gps_doubt(&photo.body).is_some());
            if !every && together.folds_into(&photo.id).is_some() {
                continue;
            }
            let taken = tie.moment().map_or_else(
                || "no time".to_owned(),
                |m| {
                    zone.to_datetime(m.at)
                        .strftime("%m-%d %H:%M:%S")
                        .to_string()
                },
            );
            let mut name = photo.body.name.clone();
            if !every && together.folded(&photo.id) > 0 {
                name += &format!(" +{}", together.folded(&photo.id));
            }
            let mut belongs = tie_words(&tie.tie);
            if let Some(original) = together.copy_of.get(&photo.id) {
                belongs += &format!(" (the same shot as {})", original.short());
            }
            if let Some(reading) = together.readings.get(&photo.id).and_then(|r| r.first()) {
                let how = if reading.decided {
                    "shows"
                } else {
                    "shows perhaps"
                };
                belongs += &format!(" ({how} {})", reading.point);
            }
            table.row(vec![
                photo.id.short().into(),
                taken,
                name,
                on.to_string(),
                belongs,
            ]);
        }
        let mut out = table.show();
        if !every && !together.bursts.is_empty() {
            out += "\n+ more of the same burst: --all shows them.";
        }
        let safe = format!(
            "\non: the devices that hold the photo whole and on their disk. {}",
            match alone {
                0 => "Every photo is on two or more.".to_owned(),
                n if n == photos.len() => "All are on one device alone.".to_owned(),
                n => format!("{n} of {} are on one device alone.", photos.len()),
            }
        );
        out += &wrap(&safe, WIDTH, "");
        if contradicted > 0 {
            let doubts = format!(
                "\n{contradicted} of {} photos have a satellites' time that contradicts their \
                 clock: datumtrail photo review",
                photos.len()
            );
            out += &wrap(&doubts, WIDTH, "");
        }
        if doubtful > 0 {
            let doubts = format!(
                "\nWhere {doubtful} of {} photos belong{} is doubtful: datumtrail photo review",
                photos.len(),
                if doubtful == 1 { "s" } else { "" }
            );
            out += &wrap(&doubts, WIDTH, "");
        }
        out
    });
    Ok(())
}

/// The devices that hold a photo, and since when they say so.
fn devices_of(
    holders: &BTreeMap<RecordId, BTreeMap<String, String>>,
    photo: &RecordId,
) -> BTreeMap<String, String> {
    holders.get(photo).cloned().unwrap_or_default()
}

/// A photo for programs.
pub fn value(
    view: &JobView,
    photo: &Entry<record::Photo>,
    tie: &PhotoTie,
    together: &Together,
) -> Value {
    let zone = zone_of(view);
    json!({
        "id": photo.id,
        "name": photo.body.name,
        "blake3": photo.body.blob,
        "bytes": photo.body.bytes,
        "camera": photo.body.camera,
        "camera_may_be_several": photo.body.camera_known.map(|known| known.may_be_several()),
        "taken_exif": photo.body.taken.as_ref().map(|t| t.civil.to_string()),
        "taken": tie.moment().map(|m| {
            m.at.display_with_offset(zone.to_offset(m.at)).to_string()
        }),
        "taken_source": tie.source_words(&photo.body),
        "taken_u_s": tie.moment().and_then(|m| m.u_s),
        "gps_time": photo.body.gps_time.map(|at| at.to_string()),
        "gps_check": tie.gps_check(&photo.body),
        "stage": tie.tie.stage(),
        "tie": tie.tie,
        "same_shot_as": together.copy_of.get(&photo.id),
        "burst": together.bursts.iter().find(|run| run.contains(&photo.id)),
        "at_readings": together.readings.get(&photo.id),
        "by": photo.stamp.by,
        "at": photo.stamp.at,
    })
}
