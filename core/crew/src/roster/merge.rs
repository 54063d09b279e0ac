//! Taking in statements: what is kept of what others say, and how much of it.
//!
//! The limits are what a stolen device can make others store and reckon. Which statements are
//! kept doesn't depend on the order within a portion: of too many, those with the smallest
//! identities. Nor does it depend on the order of portions, with one exception: who has signed
//! more than the limit in several portions is cut off at different places by devices that heard
//! them in a different order. What has been taken in isn't given up for a smaller identity, or a
//! thief could make others forget what the owner of the key signed. Those devices see the same
//! crew again once that signer is removed, since what the remover didn't know is void then.
//!
//! What remains: a stolen device that keeps the crew can admit keys of its own and have them use
//! up the room, until somebody removes it; and once all room is taken by what counts, a removal
//! has none either. Such a device can as well remove everybody else, so this adds little.

use std::collections::BTreeMap;

use super::settle::{self, All};
use super::statement::{Checked, Statement};
use super::{Merged, Roster, Signed, StatementId};

/// The most statements of a crew, removals apart.
const ORDINARY_MAX: usize = 4096;
/// The most removals of a crew, also in one portion: deciding between them takes the cube of it.
const REMOVALS_MAX: usize = 256;
/// The most bytes of all removals. With everything else at its limit the whole roster is about
/// five megabytes, and so fits a frame.
const REMOVALS_BYTES_MAX: usize = 4 * 1024 * 1024;

/// A portion is a whole roster at most.
const PORTION_MAX: usize = ORDINARY_MAX + REMOVALS_MAX;

/// What is counted apart for each signer.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    /// Foundings, admissions, and names of other devices.
    Ordinary,
    OwnName,
    Removal,
    Leaving,
}

impl Kind {
    fn of(one: &Checked) -> Self {
        match &one.says {
            Statement::Found { .. } | Statement::Admit { .. } => Kind::Ordinary,
            Statement::Name { member, .. } if *member == one.by => Kind::OwnName,
            Statement::Name { .. } => Kind::Ordinary,
            Statement::Remove { member, .. } if *member == one.by => Kind::Leaving,
            Statement::Remove { .. } => Kind::Removal,
        }
    }

    /// The most that one device may have signed of it. Nobody comes near.
    fn most(self) -> usize {
        match self {
            Kind::Ordinary => 1000,
            Kind::OwnName | Kind::Removal => 64,
            Kind::Leaving => 1,
        }
    }
}

fn removes(one: &Checked) -> bool {
    matches!(one.says, Statement::Remove { .. })
}

impl Roster {
    /// Takes in statements from elsewhere, in any order. Only those are kept whose signer had the
    /// right to make them, and within limits; what a removed device signed unknown to the
    /// remover isn't stored, unless it bears on who else is removed. A device without a crew
    /// takes the first founding it is given, so statements must only be given to it by the device
    /// whose ticket it accepted.
    pub fn merge(&mut self, statements: impl IntoIterator<Item = Signed>) -> Merged {
        let mut merged = Merged::default();
        let mut fresh: BTreeMap<StatementId, Signed> = BTreeMap::new();
        for signed in statements {
            // Checking a signature is what costs, so what is known already isn't checked again.
            let id = signed.id();
            if !self.all.contains_key(&id) {
                fresh.insert(id, signed);
            }
        }
        while fresh.len() > PORTION_MAX {
            fresh.pop_last();
            merged.refused += 1;
        }
        let mut waiting = check(fresh.into_values(), &mut merged);
        let Some(crew) = self.crew.or_else(|| founding(&waiting)) else {
            merged.unsupported = waiting.len();
            return merged;
        };
        self.crew = Some(crew);
        let before = waiting.len();
        waiting.retain(|_, one| one.crew() == crew);
        merged.refused += before - waiting.len();
        self.take(waiting, &crew, &mut merged);
        merged
    }

    /// Takes back what this device itself has written down: without limits, or one that has
    /// stored what is void by now could not read its own file.
    pub(super) fn restore(&mut self, statements: Vec<Signed>) {
        let waiting = check(statements.into_iter(), &mut Merged::default());
        self.crew = founding(&waiting);
        let Some(crew) = self.crew else { return };
        let sound = settle::supported(&waiting, &crew, |_| true).statements;
        self.all = waiting;
        self.all.retain(|id, _| sound.contains(id));
        self.settled = settle::settle(&self.all, &crew);
    }

    fn take(&mut self, mut waiting: All, crew: &StatementId, merged: &mut Merged) {
        let offered = waiting.len();
        waiting.retain(|id, _| !self.all.contains_key(id));
        let sound = settle::supported(&self.with(&waiting), crew, |_| true).statements;
        waiting.retain(|id, _| sound.contains(id));
        merged.unsupported += offered - waiting.len();
        let supported = waiting.len();
        self.limit_signers(&mut waiting);
        limit_removals(&mut waiting);
        if waiting.is_empty() {
            merged.refused += supported;
            return;
        }
        let mut whole = self.with(&waiting);
        let void = settle::settle(&whole, crew).void;
        whole.retain(|id, _| !void.contains(id) || self.all.contains_key(id));
        if !fits(&whole) {
            // What is void may yet turn out to count; but what counts now goes first.
            whole.retain(|id, _| !void.contains(id));
        }
        while !fits(&whole) {
            // Of the kind that is too many, the new one with the greatest identity.
            let removal = ordinary(&whole) <= ORDINARY_MAX;
            let new = |(id, one): &(&StatementId, &Checked)| {
                removes(one) == removal && !self.all.contains_key(*id)
            };
            let Some(last) = whole.iter().rev().find(new).map(|(id, _)| *id) else {
                break;
            };
            whole.remove(&last);
        }
        // What rested on something that was left out has nothing to rest on.
        let sound = settle::supported(&whole, crew, |_| true).statements;
        whole.retain(|id, _| sound.contains(id));
        merged.news = (waiting.keys().filter_map(|id| whole.get(id)))
            .map(|one| one.signed.clone())
            .collect();
        merged.refused += supported - merged.news.len();
        if !merged.news.is_empty() {
            self.settled = settle::settle(&whole, crew);
            self.all = whole;
        }
    }

    fn with(&self, waiting: &All) -> All {
        let mut whole = self.all.clone();
        whole.extend(waiting.iter().map(|(id, one)| (*id, one.clone())));
        whole
    }

    fn limit_signers(&self, waiting: &mut All) {
        let mut signed: BTreeMap<([u8; 32], Kind), usize> = BTreeMap::new();
        for one in self.all.values() {
            *signed.entry((one.by, Kind::of(one))).or_default() += 1;
        }
        waiting.retain(|_, one| {
            let kind = Kind::of(one);
            let count = signed.entry((one.by, kind)).or_default();
            *count += 1;
            *count <= kind.most()
        });
    }
}

fn check(statements: impl Iterator<Item = Signed>, merged: &mut Merged) -> All {
    let mut good = All::new();
    for signed in statements {
        match signed.check() {
            Ok(one) => {
                good.insert(one.id, one);
            }
            Err(why) => {
                tracing::debug!(why, "a statement about the crew was refused");
                merged.refused += 1;
            }
        }
    }
    good
}

fn founding(statements: &All) -> Option<StatementId> {
    let founding = |one: &&Checked| matches!(one.says, Statement::Found { .. });
    statements.values().find(founding).map(|one| one.id)
}

fn limit_removals(waiting: &mut All) {
    let mut removals = 0;
    waiting.retain(|_, one| {
        removals += usize::from(removes(one));
        !removes(one) || removals <= REMOVALS_MAX
    });
}

fn ordinary(whole: &All) -> usize {
    whole.values().filter(|one| !removes(one)).count()
}

fn fits(whole: &All) -> bool {
    let removals = || whole.values().filter(|one| removes(one));
    ordinary(whole) <= ORDINARY_MAX
        && removals().count() <= REMOVALS_MAX
        && removals().map(|one| one.signed.weight()).sum::<usize>() <= REMOVALS_BYTES_MAX
}
