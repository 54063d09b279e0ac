mod hostile;

use proptest::prelude::*;

use super::*;

fn key(n: u8) -> SecretKey {
    SecretKey::from_bytes(&[n + 1; 32])
}

fn at(s: i64) -> Timestamp {
    Timestamp::from_second(1_900_000_000 + s).unwrap()
}

/// A crew with its founder 0, another keeper 1, a worker 2 and a looker 3.
fn crew() -> Roster {
    let mut roster = Roster::default();
    roster.found(&key(0), "office", at(0)).unwrap();
    for (n, role) in [(1, Role::Keeps), (2, Role::Works), (3, Role::Looks)] {
        let name = format!("device {n}");
        roster
            .admit(&key(0), key(n).public(), role, &name, at(i64::from(n)))
            .unwrap();
    }
    roster
}

fn copy(roster: &Roster) -> Roster {
    let mut copy = Roster::default();
    copy.merge(roster.statements());
    copy
}

fn ids(roster: &Roster) -> Vec<MemberId> {
    let mut ids: Vec<_> = roster.members().iter().map(|m| m.id).collect();
    ids.sort();
    ids
}

fn publics(of: &[u8]) -> Vec<MemberId> {
    let mut ids: Vec<_> = of.iter().map(|n| key(*n).public()).collect();
    ids.sort();
    ids
}

#[test]
fn only_those_that_keep_the_crew_admit_and_remove() {
    let mut roster = crew();
    for n in [2, 3] {
        let admit = roster.admit(&key(n), key(9).public(), Role::Works, "x", at(9));
        assert!(matches!(admit, Err(CrewError::NotAllowed(_))), "{n}");
        let remove = roster.remove(&key(n), key(1).public(), vec![], at(9));
        assert!(matches!(remove, Err(CrewError::NotAllowed(_))), "{n}");
    }
    // Nor do they by going around our own checks.
    let forged = Signed::new(
        &key(2),
        &Statement::Admit {
            crew: roster.crew().unwrap(),
            member: *key(9).public().as_bytes(),
            role: Role::Keeps,
            at_ms: 0,
        },
    );
    let merged = roster.merge([forged]);
    assert_eq!((merged.news.len(), merged.unsupported), (0, 1));
    assert_eq!(ids(&roster), publics(&[0, 1, 2, 3]));
}

#[test]
fn an_altered_statement_is_refused() {
    let roster = crew();
    let mut other = copy(&roster);
    let before = other.digest();
    for signed in roster.statements() {
        let mut bytes = postcard::to_stdvec(&signed).unwrap();
        for at in (0..bytes.len()).step_by(5) {
            bytes[at] ^= 1;
            if let Ok(altered) = postcard::from_bytes::<Signed>(&bytes) {
                other.merge([altered]);
                assert_eq!(other.digest(), before, "byte {at}");
            }
            bytes[at] ^= 1;
        }
    }
}

#[test]
fn statements_of_another_crew_are_refused() {
    let mut ours = crew();
    let mut theirs = Roster::default();
    // The same founder, so that every signature is by somebody with rights here.
    theirs.found(&key(0), "office", at(0)).unwrap();
    theirs
        .admit(&key(0), key(7).public(), Role::Keeps, "seven", at(1))
        .unwrap();
    let merged = ours.merge(theirs.statements());
    assert_eq!(merged.news.len(), 0);
    assert_eq!(ids(&ours), publics(&[0, 1, 2, 3]));
}

#[test]
fn a_removed_key_does_not_come_back() {
    let mut roster = crew();
    roster
        .remove(&key(1), key(2).public(), vec![], at(10))
        .unwrap();
    let again = roster.admit(&key(0), key(2).public(), Role::Works, "two", at(11));
    assert!(
        matches!(
            again,
            Err(CrewError::Refused {
                why: crate::Refusal::Removed,
                ..
            })
        ),
        "{again:?}"
    );
    let forged = Signed::new(
        &key(0),
        &Statement::Admit {
            crew: roster.crew().unwrap(),
            member: *key(2).public().as_bytes(),
            role: Role::Keeps,
            at_ms: 4_000_000_000_000,
        },
    );
    roster.merge([forged]);
    assert_eq!(ids(&roster), publics(&[0, 1, 3]));
    assert!(roster.is_removed(&key(2).public()));
}

#[test]
fn what_a_removed_keeper_signed_unknown_to_the_remover_is_void() {
    let mut office = crew();
    let mut stolen = copy(&office);
    // Known to the office: stays.
    let known = stolen
        .admit(&key(1), key(4).public(), Role::Works, "four", at(5))
        .unwrap();
    office.merge(known);
    office
        .remove(&key(0), key(1).public(), vec![], at(6))
        .unwrap();
    // Unknown to it, however early it claims to be: void, and what rests on it too.
    stolen
        .admit(&key(1), key(5).public(), Role::Keeps, "five", at(1))
        .unwrap();
    stolen
        .admit(&key(5), key(6).public(), Role::Works, "six", at(2))
        .unwrap();
    stolen
        .remove(&key(5), key(2).public(), vec![], at(3))
        .unwrap();
    office.merge(stolen.statements());
    assert_eq!(ids(&office), publics(&[0, 2, 3, 4]));
    assert!(!office.is_removed(&key(2).public()));
    // Someone who heard it the other way round sees the same.
    stolen.merge(office.statements());
    assert_eq!(ids(&stolen), ids(&office));
    assert_eq!(stolen.digest(), office.digest());
}

#[test]
fn keepers_who_remove_each_other_are_both_out() {
    let mut office = crew();
    let mut other = copy(&office);
    office
        .remove(&key(0), key(1).public(), vec![], at(6))
        .unwrap();
    other
        .remove(&key(1), key(0).public(), vec![], at(5))
        .unwrap();
    // The thief goes on and removes a bystander: that is voided by the removal of the thief.
    other
        .remove(&key(1), key(2).public(), vec![], at(4))
        .unwrap();
    office.merge(other.statements());
    other.merge(office.statements());
    assert_eq!(ids(&office), publics(&[2, 3]));
    assert_eq!(ids(&other), ids(&office));
}

#[test]
fn another_keeper_carries_on_without_the_founder() {
    let mut roster = crew();
    roster
        .remove(&key(1), key(0).public(), vec![], at(20))
        .unwrap();
    roster
        .admit(&key(1), key(8).public(), Role::Keeps, "new office", at(21))
        .unwrap();
    let other = copy(&roster);
    assert_eq!(ids(&other), publics(&[1, 2, 3, 8]));
    let proof = other.proof(&key(8).public());
    let mut stranger = Roster::default();
    stranger.merge(proof);
    assert_eq!(stranger.role(&key(8).public()), Some(Role::Keeps));
}

#[test]
fn a_device_may_leave_and_may_name_itself() {
    let mut roster = crew();
    roster
        .rename(&key(2), key(2).public(), "bay two", at(-500))
        .unwrap();
    assert_eq!(roster.member(&key(2).public()).unwrap().name, "bay two");
    assert!(matches!(
        roster.rename(&key(2), key(3).public(), "x", at(9)),
        Err(CrewError::NotAllowed(_))
    ));
    roster
        .remove(&key(2), key(2).public(), vec![], at(9))
        .unwrap();
    assert_eq!(ids(&roster), publics(&[0, 1, 3]));
    assert_eq!(roster.removals()[0].name, "bay two");
}

#[test]
fn a_removal_carries_what_the_remover_had() {
    let document: samod::DocumentId = samod::DocumentId::try_from(vec![7; 16]).unwrap();
    let heads = vec![
        automerge::ChangeHash([2; 32]),
        automerge::ChangeHash([1; 32]),
    ];
    let mut roster = crew();
    roster
        .remove(
            &key(0),
            key(2).public(),
            vec![DocumentHeads::new(&document, &heads)],
            at(9),
        )
        .unwrap();
    let removal = &copy(&roster).removals()[0];
    assert_eq!(removal.at, at(9));
    assert_eq!(removal.by, key(0).public());
    assert_eq!(removal.heads[0].document(), document);
    assert_eq!(removal.heads[0].heads(), vec![heads[1], heads[0]]);
}

#[test]
fn a_proof_names_nobody() {
    let proof = crew().proof(&key(2).public());
    assert_eq!(proof.len(), 2);
    for signed in proof {
        let checked = signed.check().unwrap();
        assert!(!matches!(checked.says, Statement::Name { .. }));
    }
}

#[test]
fn a_device_is_found_by_name_or_key() {
    let roster = crew();
    assert_eq!(roster.find("device 2").unwrap(), key(2).public());
    let text = key(3).public().to_string();
    assert_eq!(roster.find(&text[..8]).unwrap(), key(3).public());
    assert!(matches!(
        roster.find("zz"),
        Err(CrewError::UnknownMember(_))
    ));
}

#[test]
fn the_file_survives_and_a_damaged_one_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("crew").join("roster");
    let roster = crew();
    roster.save(&path).unwrap();
    assert_eq!(Roster::load(&path).unwrap().digest(), roster.digest());
    let whole = std::fs::read(&path).unwrap();
    for at in (0..whole.len()).step_by(61) {
        let mut broken = whole.clone();
        broken[at] ^= 0x10;
        std::fs::write(&path, &broken).unwrap();
        let read = Roster::load(&path);
        assert!(matches!(read, Err(CrewError::Damaged { .. })), "byte {at}");
    }
    std::fs::write(&path, &whole[..whole.len() - 3]).unwrap();
    assert!(Roster::load(&path).is_err());
}

/// What a device in a random history does.
#[derive(Clone, Debug)]
enum Step {
    Admit(u8, u8, Role),
    Remove(u8, u8),
    Rename(u8, u8),
    /// Goes around our own checks: admits although removed, removes as though nothing were known.
    Forge(u8, u8),
    /// One device tells another all it knows.
    Tell(u8, u8),
}

fn step() -> impl Strategy<Value = Step> {
    let who = || 0..6u8;
    let role = prop_oneof![Just(Role::Keeps), Just(Role::Works), Just(Role::Looks)];
    prop_oneof![
        3 => (who(), who(), role).prop_map(|(a, b, r)| Step::Admit(a, b, r)),
        2 => (who(), who()).prop_map(|(a, b)| Step::Remove(a, b)),
        1 => (who(), who()).prop_map(|(a, b)| Step::Rename(a, b)),
        1 => (who(), who()).prop_map(|(a, b)| Step::Forge(a, b)),
        3 => (who(), who()).prop_map(|(a, b)| Step::Tell(a, b)),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Six devices that invite, remove and rename at will, partitioned from each other, and tell
    /// each other now and then. Whoever hears all of it, in whatever order and portions, sees the
    /// same crew; and a removal by somebody who counts is never undone.
    #[test]
    fn the_order_of_arrival_does_not_matter(
        steps in proptest::collection::vec(step(), 1..40),
        seeds in proptest::collection::vec(any::<u64>(), 3),
    ) {
        let mut devices: Vec<Roster> = Vec::new();
        let mut first = Roster::default();
        first.found(&key(0), "founder", at(0)).unwrap();
        for _ in 0..6 {
            devices.push(copy(&first));
        }
        for (n, step) in steps.iter().enumerate() {
            let now = at(i64::try_from(n).unwrap());
            match step {
                Step::Admit(a, b, role) => {
                    let _ = devices[usize::from(*a)]
                        .admit(&key(*a), key(*b).public(), *role, "someone", now);
                }
                Step::Remove(a, b) => {
                    let _ = devices[usize::from(*a)]
                        .remove(&key(*a), key(*b).public(), vec![], now);
                }
                Step::Rename(a, b) => {
                    let name = format!("name {n}");
                    let _ = devices[usize::from(*a)].rename(&key(*a), key(*b).public(), &name, now);
                }
                Step::Forge(a, b) => {
                    let device = &mut devices[usize::from(*a)];
                    let (crew, member) = (device.crew().unwrap(), *key(*b).public().as_bytes());
                    let at_ms = now.as_millisecond();
                    let role = Role::Keeps;
                    let admit = Statement::Admit { crew, member, role, at_ms };
                    device.merge([Signed::new(&key(*a), &admit)]);
                    // Leaving twice is the one thing where the order matters.
                    if a != b {
                        let (known, heads) = (vec![], vec![]);
                        let remove = Statement::Remove { crew, member, at_ms, known, heads };
                        device.merge([Signed::new(&key(*a), &remove)]);
                    }
                }
                Step::Tell(a, b) => {
                    let all = devices[usize::from(*a)].statements();
                    devices[usize::from(*b)].merge(all);
                }
            }
        }
        let mut everything = Roster::default();
        for device in &devices {
            everything.merge(device.statements());
        }
        for seed in seeds {
            let mut order = everything.statements();
            shuffle(&mut order, seed);
            let mut other = copy(&first);
            // In portions, again and again, until nothing new comes.
            loop {
                let before = other.digest();
                for portion in order.chunks(3) {
                    other.merge(portion.to_vec());
                }
                if other.digest() == before {
                    break;
                }
            }
            prop_assert_eq!(other.digest(), everything.digest());
            prop_assert_eq!(other.members(), everything.members());
            prop_assert_eq!(other.removals(), everything.removals());
        }
        for removal in everything.removals() {
            prop_assert!(everything.role(&removal.member).is_none());
        }
        for member in everything.members() {
            prop_assert!(everything.role(&member.admitted_by).is_some()
                || everything.is_removed(&member.admitted_by));
        }
    }
}

fn shuffle<T>(items: &mut [T], mut seed: u64) {
    for last in (1..items.len()).rev() {
        // Knuth's MMIX generator: any shuffling will do here.
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let pick = usize::try_from(seed >> 33).unwrap() % (last + 1);
        items.swap(last, pick);
    }
}
