//! What a stolen device can't do to the others' rosters.

use super::*;
use crate::wire::MEMBER_MAX;

fn removal(by: u8, of: MemberId, roster: &Roster, s: i64, heads: usize) -> Signed {
    let heads = (0..heads)
        .map(|n| {
            let document = samod::DocumentId::try_from(u128::to_be_bytes(n as u128).to_vec());
            DocumentHeads::new(&document.unwrap(), &[automerge::ChangeHash([9; 32])])
        })
        .collect();
    let says = Statement::Remove {
        crew: roster.crew().unwrap(),
        member: *of.as_bytes(),
        at_ms: at(s).as_millisecond(),
        known: vec![],
        heads,
    };
    Signed::new(&key(by), &says)
}

fn admission(by: u8, of: u8, roster: &Roster) -> Signed {
    let says = Statement::Admit {
        crew: roster.crew().unwrap(),
        member: *key(of).public().as_bytes(),
        role: Role::Keeps,
        at_ms: at(0).as_millisecond(),
    };
    Signed::new(&key(by), &says)
}

#[test]
fn a_device_leaves_once_however_often_it_says_so() {
    let roster = crew();
    let mut flood: Vec<Signed> = (0..300)
        .map(|s| removal(2, key(2).public(), &roster, s, 0))
        .collect();
    let (mut one, mut other) = (copy(&roster), copy(&roster));
    let merged = one.merge(flood.clone());
    assert_eq!((merged.news.len(), merged.refused), (1, 299));
    flood.reverse();
    other.merge(flood.clone());
    assert_eq!(one.digest(), other.digest());
    assert_eq!(one.merge(flood).news.len(), 0);
    assert_eq!(ids(&one), publics(&[0, 1, 3]));
}

#[test]
fn the_removals_of_one_signer_have_an_end() {
    let roster = crew();
    let mut flood: Vec<Signed> = (2..200)
        .map(|n| removal(1, key(n).public(), &roster, 0, 0))
        .collect();
    let (mut one, mut other) = (copy(&roster), copy(&roster));
    let stored = |roster: &Roster| {
        let all = roster.statements().into_iter().map(|s| s.check().unwrap());
        all.filter(|one| matches!(one.says, Statement::Remove { .. }))
            .count()
    };
    one.merge(flood.clone());
    flood.reverse();
    other.merge(flood);
    assert_eq!(stored(&one), 64);
    assert_eq!(one.digest(), other.digest());
}

#[test]
fn what_a_removed_keeper_signs_is_not_stored() {
    let mut office = crew();
    let mut late = copy(&office);
    office
        .remove(&key(0), key(1).public(), vec![], at(6))
        .unwrap();
    let before = office.statements().len();
    // The fresh key shows its proof; and it removes a bystander.
    let fresh = admission(1, 9, &office);
    let struck = removal(9, key(2).public(), &office, 7, 0);
    let merged = office.merge([fresh.clone()]);
    assert_eq!((merged.news.len(), merged.refused), (0, 1));
    let merged = office.merge([fresh.clone(), struck.clone()]);
    assert_eq!((merged.news.len(), merged.refused), (0, 2));
    assert_eq!(office.statements().len(), before);
    // Who took it in before the removal came sees the same crew, and has nothing to tell.
    late.merge([fresh, struck]);
    assert!(late.is_removed(&key(2).public()));
    late.merge(office.statements());
    assert_eq!(late.digest(), office.digest());
    assert_eq!(late.members(), office.members());
    // And can read its own file.
    let folder = tempfile::tempdir().unwrap();
    late.save(&folder.path().join("roster")).unwrap();
    let again = Roster::load(&folder.path().join("roster")).unwrap();
    assert_eq!(again.statements(), late.statements());
}

#[test]
fn removals_that_cross_end_the_same_everywhere() {
    let base = crew();
    let mut late = copy(&base);
    // The thief, 1, removes the founder without knowing its last admission.
    late.merge([removal(1, key(0).public(), &base, 5, 0)]);
    let admitted = admission(0, 4, &base);
    late.merge([admitted.clone()]);
    assert_eq!(late.role(&key(4).public()), None);
    let mut founder = copy(&base);
    founder.merge([admitted]);
    // They remove each other: both are out, whichever came first.
    founder
        .remove(&key(0), key(1).public(), vec![], at(6))
        .unwrap();
    late.merge(founder.statements());
    founder.merge(late.statements());
    assert_eq!(late.members(), founder.members());
    assert_eq!(late.removals(), founder.removals());
    assert_eq!(late.digest(), founder.digest());
}

#[test]
fn what_a_thief_made_void_is_taken_once_the_thief_is_out() {
    let mut office = crew();
    let thief = office
        .admit(&key(0), key(4).public(), Role::Keeps, "thief", at(4))
        .unwrap();
    let mut late = copy(&office);
    // The thief, 4, removes another keeper, 1, as though it had never admitted anybody.
    let theft = removal(4, key(1).public(), &office, 5, 0);
    let admitted = admission(1, 5, &office);
    late.merge([theft.clone()]);
    assert_eq!(late.merge([admitted.clone()]).refused, 1);
    office.merge([admitted]);
    office
        .remove(&key(0), key(4).public(), vec![], at(6))
        .unwrap();
    office.merge([theft]);
    late.merge(office.statements());
    assert_eq!(thief.len(), 2);
    assert_eq!(ids(&late), publics(&[0, 1, 2, 3, 5]));
    assert_eq!(late.digest(), office.digest());
}

#[test]
fn a_roster_at_its_limits_fits_a_frame() {
    let mut roster = crew();
    let long: Vec<Signed> = (20..60)
        .map(|n| removal(1, key(n).public(), &roster, 0, 3000))
        .collect();
    assert!(postcard::to_stdvec(&long).unwrap().len() > 5_000_000);
    let merged = roster.merge(long);
    assert!(merged.refused > 0 && merged.news.len() > 10, "{merged:?}");
    let whole = postcard::to_stdvec(&roster.statements()).unwrap().len();
    // Beside the largest number of other statements, of 300 bytes.
    assert!(whole + 4096 * 300 < MEMBER_MAX, "{whole}");
}

#[test]
fn absurd_times_and_lengths_are_refused() {
    let mut roster = crew();
    let name = |name: &str, at_ms| {
        let says = Statement::Name {
            crew: crew_of(&crew()),
            member: *key(2).public().as_bytes(),
            name: name.into(),
            at_ms,
        };
        Signed::new(&key(2), &says).check()
    };
    for at_ms in [i64::MAX, i64::MIN, -1, 7_258_118_400_001] {
        assert!(name("bay", at_ms).is_err(), "{at_ms}");
    }
    assert!(name("bay", 7_258_118_400_000).is_ok());
    let huge = removal(0, key(2).public(), &roster, 0, 6000);
    assert!(huge.clone().check().is_err());
    assert_eq!(roster.merge([huge]).refused, 1);
    // A name from the last moment that counts doesn't make the next one overflow.
    let says = Statement::Name {
        crew: crew_of(&roster),
        member: *key(2).public().as_bytes(),
        name: "last".into(),
        at_ms: 7_258_118_400_000,
    };
    assert_eq!(roster.merge([Signed::new(&key(2), &says)]).news.len(), 1);
    let renamed = roster.rename(&key(0), key(2).public(), "bay", at(0));
    assert!(renamed.is_err(), "{renamed:?}");
}

fn crew_of(roster: &Roster) -> StatementId {
    roster.crew().unwrap()
}

#[test]
fn a_removal_lists_more_jobs_than_one_statement_takes() {
    let mut roster = crew();
    let heads: Vec<DocumentHeads> = (0..10_000u128)
        .map(|n| {
            let document = samod::DocumentId::try_from(n.to_be_bytes().to_vec()).unwrap();
            DocumentHeads::new(&document, &[automerge::ChangeHash([9; 32])])
        })
        .collect();
    let leaving = roster.remove(&key(2), key(2).public(), heads.clone(), at(9));
    assert!(matches!(leaving, Err(CrewError::NotAllowed(_))));
    roster
        .remove(&key(0), key(2).public(), heads, at(9))
        .unwrap();
    let removals = roster.removals();
    assert_eq!(removals.len(), 3);
    let listed: usize = removals.iter().map(|removal| removal.heads.len()).sum();
    assert_eq!(listed, 10_000);
    assert_eq!(copy(&roster).removals(), removals);
}

#[test]
fn several_keys_that_remove_everybody_come_to_an_end() {
    let mut roster = crew();
    let thieves: Vec<Signed> = (10..14).map(|n| admission(1, n, &roster)).collect();
    roster.merge(thieves);
    // Each of them removes sixty-four devices, the others among them.
    let flood = |from: u8, target: u8| -> Vec<Signed> {
        (from..from + 4)
            .flat_map(|by| (0..64).map(move |n| (by, target + n)))
            .filter(|(by, n)| by != n)
            .map(|(by, n)| removal(by, key(n).public(), &roster, 0, 0))
            .collect()
    };
    let (one, other) = (flood(10, 10), flood(10, 0));
    let (first, second) = (roster.merge(one), roster.merge(other));
    assert!(!first.news.is_empty());
    assert!(first.news.len() + second.news.len() <= 256);
}
