//! Who is in the crew: a set of signed statements that only grows.
//!
//! A crew begins with one device's *founding*. Whoever keeps the crew signs *admissions* of other
//! devices, their *names*, and *removals*. A device keeps only statements whose signer had the
//! right to make them, by a chain of admissions that ends at the founder. Two devices with the
//! same statements see the same crew, in whatever order they heard them ([`settle`] says how).
//!
//! What a removal does: the key is out for good; what the removed device signed and the remover
//! didn't know of is void (a device can't invite its friends after its removal, nor before it, if
//! it kept that to itself); and it carries what the remover had of each job at that time, so that
//! what the removed device wrote afterwards can be told apart by its not being an ancestor of it.

mod file;
mod merge;
mod settle;
mod statement;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use iroh::SecretKey;
use jiff::Timestamp;

use self::settle::Settled;
use self::statement::{Checked, HEADS_WEIGHT_MAX, Statement};
pub use self::statement::{
    DocumentHeads, MemberId, NAME_MAX, Role, Signed, StatementId, name_is_good,
};
use crate::error::{CrewError, Result};

/// A device of the crew.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Member {
    /// Its key.
    pub id: MemberId,
    /// What people call it; empty where nobody has said.
    pub name: String,
    /// What it may do.
    pub role: Role,
    /// When it was admitted, by the clock of the device that did.
    pub since: Timestamp,
    /// The device that admitted it; itself for the founder.
    pub admitted_by: MemberId,
}

/// A removal that counts. A device may have several, by different removers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Removal {
    /// The removed device.
    pub member: MemberId,
    /// What it was called.
    pub name: String,
    /// Who removed it; itself where it left.
    pub by: MemberId,
    /// When, by the remover's clock.
    pub at: Timestamp,
    /// What the remover had of each job. A change by the removed device is part of the record if
    /// it is an ancestor of these heads in *any* of the device's removals, and is set aside
    /// otherwise. A document that isn't listed was not known to the remover: nothing that the
    /// removed device wrote in it counts.
    pub heads: Vec<DocumentHeads>,
}

/// What came of a merge.
#[derive(Debug, Default)]
pub struct Merged {
    /// The statements that were new. They may rest on each other, so they go on together.
    pub news: Vec<Signed>,
    /// How many were left out because their signer had no right that is known here.
    pub unsupported: usize,
    /// How many were left out because they were malformed, for another crew, void, or too many.
    pub refused: usize,
}

/// The statements that this device has accepted, and what follows from them.
#[derive(Clone, Debug, Default)]
pub struct Roster {
    crew: Option<StatementId>,
    all: BTreeMap<StatementId, Checked>,
    settled: Settled,
}

impl Roster {
    /// The crew's identity: that of its founding. None before there is a crew.
    pub fn crew(&self) -> Option<StatementId> {
        self.crew
    }

    /// Begins a crew.
    ///
    /// # Errors
    /// [`CrewError::InCrew`] if there is one already.
    pub fn found(&mut self, key: &SecretKey, name: &str, now: Timestamp) -> Result<Vec<Signed>> {
        if self.crew.is_some() {
            return Err(CrewError::InCrew);
        }
        check_name(name)?;
        let mut nonce = [0; 16];
        nonce.copy_from_slice(&SecretKey::generate().public().as_bytes()[..16]);
        let founding = Signed::new(
            key,
            &Statement::Found {
                at_ms: now.as_millisecond(),
                nonce,
            },
        );
        let mut news = self.merge([founding]).news;
        let crew = self.need_crew()?;
        news.extend(self.say(
            key,
            Statement::Name {
                crew,
                member: *key.public().as_bytes(),
                name: name.to_owned(),
                at_ms: now.as_millisecond(),
            },
        )?);
        Ok(news)
    }

    /// Admits a device.
    ///
    /// # Errors
    /// [`CrewError::NotAllowed`] unless this device keeps the crew; [`CrewError::Refused`] for a
    /// key that is in already or was removed.
    pub fn admit(
        &mut self,
        key: &SecretKey,
        member: MemberId,
        role: Role,
        name: &str,
        now: Timestamp,
    ) -> Result<Vec<Signed>> {
        let crew = self.need_crew()?;
        self.need_keeper(key, "invite devices")?;
        check_name(name)?;
        let refused = |why| CrewError::Refused {
            who: "the crew".into(),
            why,
        };
        if self.is_removed(&member) {
            return Err(refused(crate::Refusal::Removed));
        }
        if self.member(&member).is_some() {
            return Err(refused(crate::Refusal::AlreadyMember));
        }
        let member = *member.as_bytes();
        let at_ms = now.as_millisecond();
        let mut news = self.say(
            key,
            Statement::Admit {
                crew,
                member,
                role,
                at_ms,
            },
        )?;
        news.extend(self.say(
            key,
            Statement::Name {
                crew,
                member,
                name: name.to_owned(),
                at_ms,
            },
        )?);
        Ok(news)
    }

    /// Calls a device something else. A device may name itself; one that keeps the crew, any.
    pub fn rename(
        &mut self,
        key: &SecretKey,
        member: MemberId,
        name: &str,
        now: Timestamp,
    ) -> Result<Vec<Signed>> {
        let crew = self.need_crew()?;
        if member != key.public() {
            self.need_keeper(key, "rename other devices")?;
        } else if self.member(&member).is_none() {
            return Err(CrewError::Removed);
        }
        check_name(name)?;
        // The newest name counts: one more than the last, should a clock have run ahead.
        let last = self.names().get(member.as_bytes()).map(|(at, _)| *at);
        let at_ms = now
            .as_millisecond()
            .max(last.map_or(i64::MIN, |at| at.saturating_add(1)));
        self.say(
            key,
            Statement::Name {
                crew,
                member: *member.as_bytes(),
                name: name.to_owned(),
                at_ms,
            },
        )
    }

    /// Removes a device for good. `heads` says what this device has of each job now. A device may
    /// remove itself; one that keeps the crew, any. Where the heads don't fit one statement there
    /// are several, all of which count.
    ///
    /// # Errors
    /// [`CrewError::UnknownMember`]; [`CrewError::NotAllowed`] unless this device keeps the crew or
    /// removes itself, and for a device that would leave with more jobs than one statement takes
    /// (thousands): another has to remove it.
    pub fn remove(
        &mut self,
        key: &SecretKey,
        member: MemberId,
        heads: Vec<DocumentHeads>,
        now: Timestamp,
    ) -> Result<Vec<Signed>> {
        let crew = self.need_crew()?;
        if member != key.public() {
            self.need_keeper(key, "remove devices")?;
        }
        if self.member(&member).is_none() {
            return Err(CrewError::UnknownMember(member.to_string()));
        }
        let known: Vec<StatementId> = self
            .all
            .values()
            .filter(|one| one.by == *member.as_bytes())
            .map(|one| one.id)
            .collect();
        let mut portions = portions(heads).into_iter();
        if member == key.public() && portions.len() > 1 {
            return Err(CrewError::NotAllowed("leave by itself with so many jobs"));
        }
        let mut remove = |heads| {
            self.say(
                key,
                Statement::Remove {
                    crew,
                    member: *member.as_bytes(),
                    at_ms: now.as_millisecond(),
                    known: known.clone(),
                    heads,
                },
            )
        };
        let mut news = remove(portions.next().unwrap_or_default())?;
        for heads in portions {
            match remove(heads) {
                Ok(more) => news.extend(more),
                // That it is out is what can't wait.
                Err(e) => tracing::warn!(error = %e, "a removal doesn't list all jobs"),
            }
        }
        Ok(news)
    }

    /// All statements.
    pub fn statements(&self) -> Vec<Signed> {
        self.all.values().map(|one| one.signed.clone()).collect()
    }

    /// What two rosters have in common exactly if they hold the same statements, those apart that
    /// are void and bear on nothing: of these one device may have stored what another refused.
    pub fn digest(&self) -> [u8; 32] {
        let mut hasher = blake3::Hasher::new();
        for id in self.all.keys() {
            if !self.settled.void.contains(id) {
                hasher.update(id);
            }
        }
        *hasher.finalize().as_bytes()
    }

    /// The statements that show that a device was admitted, without anybody's name: its own
    /// admission, that of whoever admitted it, and so on to the founding.
    pub fn proof(&self, member: &MemberId) -> Vec<Signed> {
        let mut chain = Vec::new();
        let mut key = *member.as_bytes();
        while let Some(one) = self
            .settled
            .members
            .get(&key)
            .map(|seat| seat.by)
            .or_else(|| self.any_admission(&key))
            .and_then(|id| self.all.get(&id))
        {
            if chain.contains(&one.signed) {
                break;
            }
            chain.push(one.signed.clone());
            key = one.by;
        }
        chain
    }

    /// The devices of the crew, by name.
    pub fn members(&self) -> Vec<Member> {
        let names = self.names();
        let mut members: Vec<Member> = self
            .settled
            .members
            .iter()
            .filter_map(|(key, seat)| {
                let admission = self.all.get(&seat.by)?;
                Some(Member {
                    id: MemberId::from_bytes(key).ok()?,
                    name: names.get(key).map(|(_, n)| n.clone()).unwrap_or_default(),
                    role: seat.role,
                    since: admission.says.at(),
                    admitted_by: MemberId::from_bytes(&admission.by).ok()?,
                })
            })
            .collect();
        members.sort_by(|a, b| (&a.name, a.id).cmp(&(&b.name, b.id)));
        members
    }

    /// A device of the crew.
    pub fn member(&self, id: &MemberId) -> Option<Member> {
        self.members().into_iter().find(|member| member.id == *id)
    }

    /// What a device may do; none where it isn't in the crew.
    pub fn role(&self, id: &MemberId) -> Option<Role> {
        let seat = self.settled.members.get(id.as_bytes())?;
        Some(seat.role)
    }

    /// Whether the device was removed.
    pub fn is_removed(&self, id: &MemberId) -> bool {
        self.settled.removed.contains_key(id.as_bytes())
    }

    /// The removals that count.
    pub fn removals(&self) -> Vec<Removal> {
        let names = self.names();
        let mut removals: Vec<Removal> = self
            .settled
            .removed
            .values()
            .flatten()
            .filter_map(|id| {
                let one = self.all.get(id)?;
                let Statement::Remove { member, heads, .. } = &one.says else {
                    return None;
                };
                Some(Removal {
                    member: MemberId::from_bytes(member).ok()?,
                    name: names
                        .get(member)
                        .map(|(_, n)| n.clone())
                        .unwrap_or_default(),
                    by: MemberId::from_bytes(&one.by).ok()?,
                    at: one.says.at(),
                    heads: heads.clone(),
                })
            })
            .collect();
        removals.sort_by_key(|removal| (removal.at, removal.by));
        removals
    }

    /// The device that a person means: its key, the first digits of it (four or more), or its
    /// name. Removed devices are found too, by key.
    ///
    /// # Errors
    /// [`CrewError::UnknownMember`], [`CrewError::Ambiguous`].
    pub fn find(&self, typed: &str) -> Result<MemberId> {
        let members = self.members();
        let named: Vec<_> = members.iter().filter(|m| m.name == typed).collect();
        let fits: Vec<_> = if named.is_empty() && typed.len() >= 4 {
            let begins = |m: &&Member| m.id.to_string().starts_with(&typed.to_lowercase());
            members.iter().filter(begins).collect()
        } else {
            named
        };
        match fits.as_slice() {
            [one] => Ok(one.id),
            [] => Err(CrewError::UnknownMember(typed.to_owned())),
            _ => Err(CrewError::Ambiguous(typed.to_owned(), fits.len())),
        }
    }

    fn say(&mut self, key: &SecretKey, statement: Statement) -> Result<Vec<Signed>> {
        let news = self.merge([Signed::new(key, &statement)]).news;
        if news.is_empty() {
            return Err(CrewError::NotAllowed("say more about the crew than it has"));
        }
        Ok(news)
    }

    /// The newest name of each key, with its time.
    fn names(&self) -> BTreeMap<[u8; 32], (i64, String)> {
        let mut newest: BTreeMap<[u8; 32], (i64, StatementId, String)> = BTreeMap::new();
        let heeded = self
            .all
            .values()
            .filter(|one| !self.settled.void.contains(&one.id));
        for one in heeded {
            let Statement::Name {
                member,
                name,
                at_ms,
                ..
            } = &one.says
            else {
                continue;
            };
            // What a removed device says about names counts for nothing any more, except about
            // itself: under that name it is remembered.
            if self.settled.removed.contains_key(&one.by) && one.by != *member {
                continue;
            }
            let newer = newest
                .get(member)
                .is_none_or(|(at, id, _)| (*at_ms, one.id) > (*at, *id));
            if newer {
                newest.insert(*member, (*at_ms, one.id, name.clone()));
            }
        }
        newest
            .into_iter()
            .map(|(key, (at, _, name))| (key, (at, name)))
            .collect()
    }

    fn any_admission(&self, key: &[u8; 32]) -> Option<StatementId> {
        let founder = self.crew.and_then(|crew| self.all.get(&crew));
        if let Some(founding) = founder.filter(|one| one.by == *key) {
            return Some(founding.id);
        }
        self.all
            .values()
            .find(|one| matches!(&one.says, Statement::Admit { member, .. } if member == key))
            .map(|one| one.id)
    }

    fn need_crew(&self) -> Result<StatementId> {
        self.crew.ok_or(CrewError::NoCrew)
    }

    fn need_keeper(&self, key: &SecretKey, what: &'static str) -> Result<()> {
        if self.is_removed(&key.public()) {
            return Err(CrewError::Removed);
        }
        if self.role(&key.public()) != Some(Role::Keeps) {
            return Err(CrewError::NotAllowed(what));
        }
        Ok(())
    }
}

/// The heads of all documents as portions for one removal each; there is always one.
fn portions(heads: Vec<DocumentHeads>) -> Vec<Vec<DocumentHeads>> {
    let mut portions = vec![Vec::new()];
    let mut weight = 0;
    for one in heads {
        if one.weight() > HEADS_WEIGHT_MAX {
            tracing::warn!(document = %one.document(), "a document has too many heads to list");
            continue;
        }
        weight += one.weight();
        if weight > HEADS_WEIGHT_MAX {
            portions.push(Vec::new());
            weight = one.weight();
        }
        if let Some(last) = portions.last_mut() {
            last.push(one);
        }
    }
    portions
}

fn check_name(name: &str) -> Result<()> {
    if name_is_good(name) {
        Ok(())
    } else {
        Err(CrewError::BadName { max: NAME_MAX })
    }
}
