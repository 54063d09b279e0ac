//! What follows from a set of statements, whatever the order in which they came.
//!
//! Three questions are asked of the whole set, each time anew:
//!
//! 1. *What has a signer with the right?* Starting from the founder, whoever was admitted as one
//!    that keeps may admit, name and remove. Removals are left out of this, so that it only grows.
//! 2. *Which removals count?* A removal voids what the removed device signed and the remover
//!    didn't know, along with everything that rests on it. Removals can therefore void each other.
//!    A removal that is voided by one that counts doesn't count. Where removals void each other in
//!    a ring, all of them count: devices that remove each other are all out. That is the safe
//!    side: from the statements alone nobody can tell the thief from the owner.
//! 3. *Who is in?* Whoever has an admission that isn't void and no removal that counts.
//!
//! The second question is the grounded extension of an argumentation framework (P. M. Dung,
//! "On the acceptability of arguments", Artificial Intelligence 77, 1995), with rings decided
//! instead of left open.

use std::collections::{BTreeMap, BTreeSet};

use super::statement::{Checked, Role, Statement, StatementId};

type Key = [u8; 32];
pub(super) type All = BTreeMap<StatementId, Checked>;

/// What a set of statements says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Settled {
    /// Everybody with an admission that stands and no removal that counts.
    pub(super) members: BTreeMap<Key, Seat>,
    /// The removals that count, by the removed key.
    pub(super) removed: BTreeMap<Key, Vec<StatementId>>,
    /// What is void and bears on nothing else in the set: leaving it out changes nothing.
    pub(super) void: BTreeSet<StatementId>,
}

/// A place in the crew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Seat {
    pub(super) role: Role,
    /// The admission with that role; the founding for the founder.
    pub(super) by: StatementId,
}

/// What is signed by somebody with the right to.
pub(super) struct Supported {
    pub(super) statements: BTreeSet<StatementId>,
    seats: BTreeMap<Key, Seat>,
}

/// The statements that rest on the founder through others in the set, where only those for which
/// `stands` holds may carry anything.
pub(super) fn supported(
    all: &All,
    crew: &StatementId,
    stands: impl Fn(&Checked) -> bool,
) -> Supported {
    let mut seats = BTreeMap::new();
    if let Some(founding) = all.get(crew) {
        let seat = Seat {
            role: Role::Keeps,
            by: founding.id,
        };
        seats.insert(founding.by, seat);
    }
    let mut admissions: BTreeMap<Key, Vec<&Checked>> = BTreeMap::new();
    for one in all.values() {
        if matches!(one.says, Statement::Admit { .. }) && stands(one) {
            admissions.entry(one.by).or_default().push(one);
        }
    }
    let mut keepers: Vec<Key> = seats.keys().copied().collect();
    while let Some(keeper) = keepers.pop() {
        for one in admissions.remove(&keeper).unwrap_or_default() {
            let Statement::Admit { member, role, .. } = &one.says else {
                continue;
            };
            // Of two admissions the greater role counts, and among equals the smaller identity,
            // so that the answer doesn't depend on who was heard first.
            let better = seats.get(member).is_none_or(|seat| {
                *role > seat.role || (*role == seat.role && one.id < seat.by && seat.by != *crew)
            });
            if better {
                let seat = Seat {
                    role: *role,
                    by: one.id,
                };
                let before = seats.insert(*member, seat);
                if *role == Role::Keeps && before.is_none_or(|seat| seat.role != Role::Keeps) {
                    keepers.push(*member);
                }
            }
        }
    }
    let statements = all
        .values()
        .filter(|one| stands(one) && has_the_right(one, crew, &seats))
        .map(|one| one.id)
        .collect();
    Supported { statements, seats }
}

fn keeps(seats: &BTreeMap<Key, Seat>, key: &Key) -> bool {
    seats.get(key).is_some_and(|seat| seat.role == Role::Keeps)
}

fn has_the_right(one: &Checked, crew: &StatementId, seats: &BTreeMap<Key, Seat>) -> bool {
    match &one.says {
        Statement::Found { .. } => one.id == *crew,
        Statement::Admit { .. } => keeps(seats, &one.by),
        // A device may name itself and leave by itself.
        Statement::Name { member, .. } | Statement::Remove { member, .. } => {
            keeps(seats, &one.by) || (one.by == *member && seats.contains_key(member))
        }
    }
}

/// Whether a removal voids a statement directly: the removed device signed it, and the remover
/// didn't know it.
fn voids(removal: &Checked, other: &Checked) -> bool {
    let Statement::Remove { member, known, .. } = &removal.says else {
        return false;
    };
    other.by == *member && other.id != removal.id && known.binary_search(&other.id).is_err()
}

pub(super) fn settle(all: &All, crew: &StatementId) -> Settled {
    let sound = supported(all, crew, |_| true);
    let removals: Vec<&Checked> = sound
        .statements
        .iter()
        .filter_map(|id| all.get(id))
        .filter(|one| matches!(one.says, Statement::Remove { .. }))
        .collect();
    let Decided {
        counting,
        struck_alone,
    } = which_count(all, crew, &removals);
    let counts = |id: &StatementId| counting.iter().any(|r| r.id == *id);
    let standing = supported(all, crew, |one| {
        counts(&one.id) || !counting.iter().any(|removal| voids(removal, one))
    });
    let mut settled = Settled::default();
    for removal in &counting {
        if let Statement::Remove { member, .. } = &removal.says {
            settled.removed.entry(*member).or_default().push(removal.id);
        }
    }
    let carrying = carrying(
        all,
        removals.iter().filter(|r| !struck_alone.contains(&r.id)),
    );
    settled.void = sound
        .statements
        .into_iter()
        .filter(|id| !standing.statements.contains(id))
        .filter(|id| match all.get(id).map(|one| &one.says) {
            Some(Statement::Remove { .. }) => struck_alone.contains(id),
            Some(Statement::Admit { member, .. }) => !carrying.contains(member),
            _ => true,
        })
        .collect();
    settled.members = standing.seats;
    settled
        .members
        .retain(|key, _| !settled.removed.contains_key(key));
    settled
}

/// The devices whose admissions these removals may rest on.
fn carrying<'a>(all: &All, removals: impl Iterator<Item = &'a &'a Checked>) -> BTreeSet<Key> {
    let mut admitters: BTreeMap<Key, Vec<Key>> = BTreeMap::new();
    for one in all.values() {
        if let Statement::Admit { member, .. } = &one.says {
            admitters.entry(*member).or_default().push(one.by);
        }
    }
    let mut carrying = BTreeSet::new();
    let mut next: Vec<Key> = removals.map(|removal| removal.by).collect();
    while let Some(key) = next.pop() {
        if carrying.insert(key) {
            next.extend(admitters.remove(&key).unwrap_or_default());
        }
    }
    carrying
}

struct Decided<'a> {
    counting: Vec<&'a Checked>,
    /// Those that don't count and are in no ring, so that they have no say in what else counts.
    struck_alone: BTreeSet<StatementId>,
}

fn which_count<'a>(all: &All, crew: &StatementId, removals: &[&'a Checked]) -> Decided<'a> {
    let n = removals.len();
    // attacks[a][b]: b does not stand if a counts.
    let mut attacks = vec![vec![false; n]; n];
    for (a, removal) in removals.iter().enumerate() {
        let without = supported(all, crew, |one| !voids(removal, one));
        for (b, other) in removals.iter().enumerate() {
            attacks[a][b] = a != b && !without.statements.contains(&other.id);
        }
    }
    let mut reaches = attacks.clone();
    for middle in 0..n {
        let beyond = reaches[middle].clone();
        for row in &mut reaches {
            if row[middle] {
                row.iter_mut()
                    .zip(&beyond)
                    .for_each(|(to, more)| *to |= *more);
            }
        }
    }
    let same_ring = |a: usize, b: usize| a == b || (reaches[a][b] && reaches[b][a]);
    let mut decided: Vec<Option<bool>> = vec![None; n];
    // Rings form no rings among each other, so every pass decides at least one.
    for _ in 0..n {
        for one in 0..n {
            if decided[one].is_some() {
                continue;
            }
            let ring: Vec<usize> = (0..n).filter(|&other| same_ring(one, other)).collect();
            let outside: Vec<usize> = (0..n)
                .filter(|&from| {
                    !same_ring(one, from) && ring.iter().any(|&member| attacks[from][member])
                })
                .collect();
            if outside.iter().any(|&from| decided[from].is_none()) {
                continue;
            }
            for &member in &ring {
                let struck = outside
                    .iter()
                    .any(|&from| decided[from] == Some(true) && attacks[from][member]);
                decided[member] = Some(!struck);
            }
        }
    }
    let counting = (0..n)
        .filter(|&one| decided[one] == Some(true))
        .map(|one| removals[one])
        .collect();
    let struck_alone = (0..n)
        .filter(|&one| decided[one] != Some(true) && !reaches[one][one])
        .map(|one| removals[one].id)
        .collect();
    Decided {
        counting,
        struck_alone,
    }
}
