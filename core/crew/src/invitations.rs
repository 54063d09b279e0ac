//! The tickets that are open on this device.

use jiff::Timestamp;

use crate::error::Refusal;
use crate::roster::{MemberId, Role};
use crate::ticket::Secret;

/// After so many wrong secrets all open tickets are void. Guessing 128 bits is hopeless anyway;
/// this ends the noise.
const WRONG_MAX: usize = 20;
/// How many tickets are remembered after their end, to say what became of them.
const KEPT: usize = 100;

/// What a good ticket gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Grant {
    pub(crate) role: Role,
    pub(crate) name: Option<String>,
}

#[derive(Debug)]
struct Open {
    secret: Secret,
    expires: Timestamp,
    grant: Grant,
    used_by: Option<MemberId>,
}

/// The tickets, in memory only: they end with the process.
#[derive(Debug, Default)]
pub(crate) struct Invitations {
    open: Vec<Open>,
    wrong: usize,
}

impl Invitations {
    pub(crate) fn add(&mut self, secret: Secret, expires: Timestamp, grant: Grant) {
        // A person at this device asks for a new ticket, so the noise is known about.
        self.wrong = 0;
        if self.open.len() >= KEPT {
            self.open.remove(0);
        }
        self.open.push(Open {
            secret,
            expires,
            grant,
            used_by: None,
        });
    }

    /// Takes a ticket's secret from a device. A device whose answer got lost may show its ticket
    /// again.
    pub(crate) fn redeem(
        &mut self,
        secret: &Secret,
        who: MemberId,
        now: Timestamp,
    ) -> Result<Grant, Refusal> {
        if self.wrong >= WRONG_MAX {
            return Err(Refusal::TooManyAttempts);
        }
        // All are compared, so that the time says nothing about which one it was.
        let mut found = None;
        for (at, open) in self.open.iter().enumerate() {
            if open.secret.matches(secret) {
                found = Some(at);
            }
        }
        let Some(open) = found.and_then(|at| self.open.get_mut(at)) else {
            self.wrong += 1;
            return Err(Refusal::TicketUnknown);
        };
        match open.used_by {
            Some(user) if user != who => return Err(Refusal::TicketUsed),
            Some(_) => return Ok(open.grant.clone()),
            None => {}
        }
        if now >= open.expires {
            return Err(Refusal::TicketExpired);
        }
        open.used_by = Some(who);
        Ok(open.grant.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn who(n: u8) -> MemberId {
        iroh::SecretKey::from_bytes(&[n; 32]).public()
    }

    fn at(s: i64) -> Timestamp {
        Timestamp::from_second(s).unwrap()
    }

    fn grant() -> Grant {
        Grant {
            role: Role::Works,
            name: None,
        }
    }

    #[test]
    fn one_ticket_admits_one_device_in_time() {
        let mut open = Invitations::default();
        let (one, late) = (Secret::generate(), Secret::generate());
        open.add(one, at(100), grant());
        open.add(late, at(50), grant());
        assert_eq!(
            open.redeem(&late, who(1), at(50)),
            Err(Refusal::TicketExpired)
        );
        assert_eq!(open.redeem(&one, who(1), at(60)), Ok(grant()));
        assert_eq!(open.redeem(&one, who(2), at(61)), Err(Refusal::TicketUsed));
        assert_eq!(open.redeem(&one, who(1), at(200)), Ok(grant()));
    }

    #[test]
    fn many_wrong_tickets_void_the_open_ones_until_a_person_asks_for_another() {
        let mut open = Invitations::default();
        let good = Secret::generate();
        open.add(good, at(100), grant());
        for _ in 0..WRONG_MAX {
            let wrong = open.redeem(&Secret::generate(), who(1), at(1));
            assert_eq!(wrong, Err(Refusal::TicketUnknown));
        }
        assert_eq!(
            open.redeem(&good, who(2), at(1)),
            Err(Refusal::TooManyAttempts)
        );
        let another = Secret::generate();
        open.add(another, at(100), grant());
        assert_eq!(open.redeem(&another, who(2), at(1)), Ok(grant()));
    }
}
