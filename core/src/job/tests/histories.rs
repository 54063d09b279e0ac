//! Devices that work apart and meet again in any order come to the same result.

use automerge::Automerge;
use proptest::prelude::*;
use serde_json::Value;

use crate::job::conflict::{Kind, conflicts};
use crate::job::edit;
use crate::job::hold::Evidence;
use crate::job::plan::{Plan, SHIPPED};
use crate::job::record::{
    Closing, Note, Opening, Reading, RecordId, Removal, Settlement, Stamp, Tie, Withdrawal,
};
use crate::job::stage;
use crate::job::tie::Ties;
use crate::job::tree::new_document;
use crate::job::view::JobView;

const STAGES: [&str; 3] = ["arrival", "as-found-survey", "strip"];

/// What a device does next; numbers choose among what it has.
#[derive(Clone, Debug)]
enum Step {
    Name(u8),
    Open(u8),
    Close(u8),
    Read(u8),
    Correct(u8),
    Withdraw(u8),
    Note(u8),
    Tie(u8, u8),
    Settle,
    Remove(u8),
    /// Hears everything that another device has.
    Hear(u8),
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        any::<u8>().prop_map(Step::Name),
        any::<u8>().prop_map(Step::Open),
        any::<u8>().prop_map(Step::Close),
        any::<u8>().prop_map(Step::Read),
        any::<u8>().prop_map(Step::Correct),
        any::<u8>().prop_map(Step::Withdraw),
        any::<u8>().prop_map(Step::Note),
        (any::<u8>(), any::<u8>()).prop_map(|(a, b)| Step::Tie(a, b)),
        Just(Step::Settle),
        any::<u8>().prop_map(Step::Remove),
        any::<u8>().prop_map(Step::Hear),
        any::<u8>().prop_map(Step::Hear),
        any::<u8>().prop_map(Step::Hear),
    ]
}

struct Devices {
    docs: Vec<Automerge>,
    made: usize,
}

impl Devices {
    fn new(count: usize) -> Self {
        let first = new_document("job").unwrap();
        let docs = (0..count).map(|_| first.fork()).collect();
        Self { docs, made: 0 }
    }

    fn stamp(&self, device: usize) -> Stamp {
        Stamp {
            by: format!("{device:064}"),
            person: None,
            // Clocks that agree to the second only, so that times often tie.
            at: format!("2026-05-12T08:{:02}:00+01:00", self.made / 7 % 60),
        }
    }

    fn id(&mut self) -> RecordId {
        self.made += 1;
        // Not in the order of time everywhere, as with clocks that differ.
        RecordId(format!("{:08}", (self.made * 7919) % 99_991))
    }

    fn take(&mut self, device: usize, step: &Step) {
        let stamp = self.stamp(device);
        let view = self.view(device);
        let pick = |n: u8, of: usize| (of > 0).then(|| usize::from(n) % of.max(1));
        let id = self.id();
        let doc = &mut self.docs[device];
        let done = match step {
            Step::Name(n) => {
                edit::set_about(doc, &[("name", Value::from(format!("name {n}")))], &stamp)
            }
            Step::Open(n) => {
                let opening = Opening {
                    stage: STAGES[usize::from(*n) % 3].into(),
                    opened: stamp.at.clone(),
                    passed: Vec::new(),
                };
                edit::add_records(doc, &[(id, opening)], &stamp)
            }
            Step::Close(n) => match pick(*n, view.openings.len()) {
                Some(at) => {
                    let closing = Closing {
                        opening: view.openings[at].id.clone(),
                        closed: stamp.at.clone(),
                    };
                    edit::add_records(doc, &[(id, closing)], &stamp)
                }
                None => return,
            },
            Step::Read(n) | Step::Correct(n) => {
                let replaces = match step {
                    Step::Correct(_) => match pick(*n, view.readings.len()) {
                        Some(at) => Some(view.readings[at].id.clone()),
                        None => return,
                    },
                    _ => None,
                };
                let reading = Reading {
                    survey: RecordId("survey".into()),
                    point: format!("P{}", n % 3),
                    x: f64::from(*n),
                    y: 0.0,
                    z: 0.0,
                    u: None,
                    time: None,
                    replaces,
                    why: None,
                };
                edit::add_records(doc, &[(id, reading)], &stamp)
            }
            Step::Withdraw(n) => {
                let ids = view.all_ids();
                match pick(*n, ids.len()) {
                    Some(at) => {
                        let withdrawal = Withdrawal {
                            target: ids[at].0.clone(),
                            reason: "no".into(),
                        };
                        edit::add_records(doc, &[(id, withdrawal)], &stamp)
                    }
                    None => return,
                }
            }
            Step::Note(n) => {
                let note = Note {
                    text: format!("note {n}"),
                    stage: None,
                    photo: None,
                    about: None,
                    internal: false,
                };
                edit::add_records(doc, &[(id, note)], &stamp)
            }
            Step::Tie(photo, at) => {
                let tie = Tie {
                    photo: RecordId(format!("photo{}", photo % 2)),
                    stage: STAGES[usize::from(*at) % 3].into(),
                };
                edit::add_records(doc, &[(id, tie)], &stamp)
            }
            Step::Settle => {
                let open = conflicts(doc, &view);
                let Some(conflict) = open.iter().find(|c| c.settled.is_none()) else {
                    return;
                };
                let records = conflict.sides.iter().filter_map(|s| s.id.clone()).collect();
                let settlement = Settlement {
                    records,
                    reason: "both are right".into(),
                };
                edit::add_records(doc, &[(id, settlement)], &stamp)
            }
            Step::Remove(n) => {
                let removal = Removal {
                    device: format!("{:064}", usize::from(*n) % self.docs.len()),
                    heads: self.docs[device]
                        .get_heads()
                        .iter()
                        .map(ToString::to_string)
                        .collect(),
                };
                let doc = &mut self.docs[device];
                edit::add_records(doc, &[(id, removal)], &stamp)
            }
            Step::Hear(n) => {
                let from = usize::from(*n) % self.docs.len();
                if from != device {
                    let mut other = self.docs[from].fork();
                    self.docs[device].merge(&mut other).unwrap();
                }
                return;
            }
        };
        done.unwrap();
    }

    fn view(&self, device: usize) -> JobView {
        JobView::read(&self.docs[device], "document").unwrap()
    }
}

/// Everything that a device would show.
fn shown(doc: &Automerge) -> String {
    let view = JobView::read(doc, "document").unwrap();
    let plan = Plan::parse(SHIPPED).unwrap();
    let stages = stage::stages(&view, &plan);
    let ties = Ties::new(&view, &stages);
    let holds = Evidence::new(&view, &plan, &ties).all();
    serde_json::json!({
        "view": view,
        "stages": stages,
        "holds": holds,
        "conflicts": conflicts(doc, &view),
    })
    .to_string()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn all_show_the_same_whatever_came_first(
        count in 3_usize..=5,
        steps in prop::collection::vec((any::<u8>(), step()), 1..60),
        orders in prop::collection::vec(any::<u64>(), 5),
    ) {
        let mut devices = Devices::new(count);
        for (who, step) in &steps {
            devices.take(usize::from(*who) % count, step);
        }
        // Each hears all the others, one whole history after another, in an order of its own.
        let mut results = Vec::new();
        for (device, order) in orders.iter().enumerate().take(count) {
            let mut doc = devices.docs[device].fork();
            let mut others: Vec<usize> = (0..count).filter(|o| *o != device).collect();
            let by = (order % others.len() as u64) as usize;
            others.rotate_left(by);
            if order & 64 != 0 {
                others.reverse();
            }
            for other in others {
                let mut other = devices.docs[other].fork();
                doc.merge(&mut other).unwrap();
            }
            // What is on the disk says the same as what is in memory.
            let loaded = Automerge::load(&doc.save()).unwrap();
            prop_assert_eq!(shown(&doc), shown(&loaded));
            results.push(shown(&doc));
        }
        for result in &results[1..] {
            prop_assert_eq!(result, &results[0]);
        }
    }
}

/// Two devices, the second with what the first had at the start.
fn two() -> Devices {
    Devices::new(2)
}

fn found(devices: &Devices, device: usize) -> Vec<(Kind, bool)> {
    let view = devices.view(device);
    conflicts(&devices.docs[device], &view)
        .iter()
        .map(|c| (c.kind, c.settled.is_some()))
        .collect()
}

#[test]
fn a_stage_opened_by_two_at_once_is_shown_until_a_person_settles_it() {
    let mut devices = two();
    devices.take(0, &Step::Open(0));
    devices.take(1, &Step::Open(0));
    assert_eq!(found(&devices, 0), []);
    devices.take(0, &Step::Hear(1));
    assert_eq!(found(&devices, 0), [(Kind::StageOpenedTwice, false)]);
    devices.take(0, &Step::Settle);
    devices.take(1, &Step::Hear(0));
    assert_eq!(found(&devices, 1), [(Kind::StageOpenedTwice, true)]);
}

#[test]
fn who_writes_with_the_other_before_their_eyes_has_decided() {
    let mut devices = two();
    devices.take(0, &Step::Read(1));
    devices.take(0, &Step::Tie(0, 1));
    devices.take(1, &Step::Hear(0));
    devices.take(1, &Step::Read(1));
    devices.take(1, &Step::Tie(0, 2));
    assert_eq!(found(&devices, 1), []);
}

#[test]
fn one_point_read_by_two_at_once_counts_twice_and_says_so() {
    let mut devices = two();
    devices.take(0, &Step::Read(1));
    devices.take(1, &Step::Read(1));
    devices.take(1, &Step::Hear(0));
    assert_eq!(devices.view(1).readings.len(), 2);
    assert_eq!(found(&devices, 1), [(Kind::PointReadTwice, false)]);
    devices.take(1, &Step::Withdraw(0));
    assert_eq!(found(&devices, 1), []);
}

#[test]
fn what_a_device_wrote_after_its_removal_is_set_aside_and_what_it_overwrote_stands_again() {
    let mut devices = Devices::new(3);
    devices.take(1, &Step::Note(1));
    devices.take(0, &Step::Name(7));
    devices.take(0, &Step::Hear(1));
    devices.take(1, &Step::Hear(0));
    devices.take(0, &Step::Remove(1));
    // It goes on, and a third device that has not heard carries it.
    devices.take(1, &Step::Note(2));
    devices.take(1, &Step::Name(8));
    devices.take(2, &Step::Hear(1));
    assert_eq!(devices.view(2).notes.len(), 2);
    assert_eq!(devices.view(2).title(), "name 8");
    devices.take(2, &Step::Hear(0));
    devices.take(0, &Step::Hear(2));
    for device in [0, 2] {
        let view = devices.view(device);
        let texts: Vec<&str> = view.notes.iter().map(|n| n.body.text.as_str()).collect();
        assert_eq!(texts, ["note 1"]);
        assert_eq!(view.title(), "name 7");
        assert_eq!(view.set_aside.len(), 1);
        assert_eq!(view.set_aside[0].map, "notes");
    }
}

#[test]
fn a_removed_device_removes_nobody() {
    let mut devices = Devices::new(3);
    devices.take(1, &Step::Hear(0));
    devices.take(2, &Step::Note(1));
    devices.take(1, &Step::Hear(2));
    devices.take(0, &Step::Hear(2));
    devices.take(0, &Step::Remove(1));
    // The second has not heard of it, and removes the third.
    devices.take(1, &Step::Remove(2));
    devices.take(2, &Step::Note(2));
    devices.take(2, &Step::Hear(1));
    devices.take(2, &Step::Hear(0));
    let view = devices.view(2);
    assert_eq!(view.notes.len(), 2);
    let maps: Vec<&str> = view.set_aside.iter().map(|a| a.map.as_str()).collect();
    assert_eq!(maps, ["removals"]);
}
