//! The text that invites one device.
//!
//! A ticket holds where to find the inviter, the key by which to know it, and a secret that the
//! inviter gives out once. It is a line of capital letters and digits, which a QR code holds in
//! its compact alphanumeric form; small letters and spaces are read as well.

use std::fmt;
use std::net::SocketAddr;
use std::str::FromStr;

use data_encoding::BASE32_NOPAD;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use subtle::ConstantTimeEq;

use crate::error::{CrewError, Result};
use crate::roster::{MemberId, NAME_MAX, Role};

const PREFIX: &str = "DTCREW1";
/// The most addresses in a ticket: more would not fit a QR code that a phone reads from a screen.
pub const ADDRESSES_MAX: usize = 6;
const TEXT_MAX: usize = 2048;

/// The one-time secret of a ticket: 128 random bits.
#[derive(Clone, Copy, Serialize, Deserialize)]
pub struct Secret([u8; 16]);

impl Secret {
    /// A new one, from the system's random numbers.
    pub fn generate() -> Self {
        // A key is the one source of random bytes that is here anyway; its hash is as random.
        let random = blake3::hash(&iroh::SecretKey::generate().to_bytes());
        let mut secret = [0; 16];
        secret.copy_from_slice(&random.as_bytes()[..16]);
        Self(secret)
    }

    /// Whether both are the same, in a time that doesn't depend on where they differ.
    pub fn matches(&self, other: &Secret) -> bool {
        self.0.ct_eq(&other.0).into()
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(..)")
    }
}

/// An invitation.
#[derive(Clone, Debug)]
pub struct Ticket {
    /// The device that invites.
    pub inviter: MemberId,
    /// What the inviter will ask for.
    pub secret: Secret,
    /// Until when, by the inviter's clock.
    pub expires: Timestamp,
    /// What the new device will be allowed to do.
    pub role: Role,
    /// What the new device will be called, if the inviter decided.
    pub name: Option<String>,
    /// Where the inviter was when it wrote this, the likeliest first.
    pub addresses: Vec<SocketAddr>,
}

#[derive(Serialize, Deserialize)]
struct Packed {
    inviter: [u8; 32],
    secret: Secret,
    expires_s: i64,
    role: Role,
    name: Option<String>,
    addresses: Vec<SocketAddr>,
}

impl fmt::Display for Ticket {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let packed = Packed {
            inviter: *self.inviter.as_bytes(),
            secret: self.secret,
            expires_s: self.expires.as_second(),
            role: self.role,
            name: self.name.clone(),
            addresses: self.addresses.iter().take(ADDRESSES_MAX).copied().collect(),
        };
        let mut bytes = postcard::to_stdvec(&packed).map_err(|_| fmt::Error)?;
        let sum = blake3::hash(&bytes);
        bytes.extend_from_slice(&sum.as_bytes()[..4]);
        write!(f, "{PREFIX}{}", BASE32_NOPAD.encode(&bytes))
    }
}

impl FromStr for Ticket {
    type Err = CrewError;

    fn from_str(text: &str) -> Result<Self> {
        let not = |why: &str| CrewError::NotATicket(why.to_owned());
        if text.len() > TEXT_MAX {
            return Err(not("it is too long"));
        }
        let text: String = text
            .chars()
            .filter(|c| !c.is_whitespace())
            .map(|c| c.to_ascii_uppercase())
            .collect();
        let body = text
            .strip_prefix(PREFIX)
            .ok_or_else(|| not("a ticket begins with DTCREW1"))?;
        let bytes = BASE32_NOPAD
            .decode(body.as_bytes())
            .map_err(|_| not("a part is missing, or a character is wrong"))?;
        let (bytes, sum) = bytes
            .split_at_checked(bytes.len().saturating_sub(4))
            .ok_or_else(|| not("it is too short"))?;
        if blake3::hash(bytes).as_bytes()[..4] != *sum {
            return Err(not("a part is missing, or a character is wrong"));
        }
        let (packed, rest): (Packed, _) =
            postcard::take_from_bytes(bytes).map_err(|_| not("its content can't be read"))?;
        if !rest.is_empty() || packed.addresses.len() > ADDRESSES_MAX {
            return Err(not("its content can't be read"));
        }
        let name = packed.name;
        if name.as_ref().is_some_and(|n| n.chars().count() > NAME_MAX) {
            return Err(not("the name in it is too long"));
        }
        Ok(Self {
            inviter: MemberId::from_bytes(&packed.inviter)
                .map_err(|_| not("it has no device's key"))?,
            secret: packed.secret,
            expires: Timestamp::from_second(packed.expires_s)
                .map_err(|_| not("its time can't be read"))?,
            role: packed.role,
            name,
            addresses: packed.addresses,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ticket(addresses: Vec<SocketAddr>, name: Option<String>) -> Ticket {
        Ticket {
            inviter: iroh::SecretKey::from_bytes(&[7; 32]).public(),
            secret: Secret::generate(),
            expires: Timestamp::from_second(1_900_000_000).unwrap(),
            role: Role::Works,
            name,
            addresses,
        }
    }

    #[test]
    fn two_addresses_and_a_name_fit_a_small_qr_code() {
        let text = ticket(
            vec![
                "192.168.178.42:41234".parse().unwrap(),
                "[fe80::1234:5678:9abc:def0]:41234".parse().unwrap(),
            ],
            Some("phone of bay two".into()),
        )
        .to_string();
        // QR version 9 at level M holds 262 alphanumeric characters: 53 modules a side, which
        // fits 80 columns of a terminal (ISO/IEC 18004, table 7).
        assert!(text.len() <= 262, "{} characters", text.len());
        assert!(
            text.chars()
                .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit())
        );
    }

    #[test]
    fn secrets_differ_and_stay_out_of_logs() {
        let (a, b) = (Secret::generate(), Secret::generate());
        assert!(a.matches(&a));
        assert!(!a.matches(&b));
        let text = format!("{:?}", ticket(vec![], None));
        assert!(text.contains("Secret(..)"), "{text}");
    }

    #[test]
    fn one_wrong_character_is_noticed() {
        let text = ticket(vec!["10.0.0.1:5".parse().unwrap()], None).to_string();
        for at in PREFIX.len()..text.len() {
            let mut wrong: Vec<u8> = text.clone().into_bytes();
            wrong[at] = if wrong[at] == b'A' { b'B' } else { b'A' };
            let wrong = String::from_utf8(wrong).unwrap();
            assert!(wrong.parse::<Ticket>().is_err(), "position {at}");
        }
    }

    proptest! {
        #[test]
        fn what_is_written_is_read(
            v4 in proptest::collection::vec((any::<[u8; 4]>(), any::<u16>()), 0..ADDRESSES_MAX),
            name in proptest::option::of("[a-z ]{1,40}"),
            small in any::<bool>(),
        ) {
            let addresses: Vec<SocketAddr> = v4.into_iter().map(SocketAddr::from).collect();
            let made = ticket(addresses, name);
            let mut text = made.to_string();
            if small {
                text = format!("  {}\n", text.to_lowercase());
            }
            let read: Ticket = text.parse().unwrap();
            prop_assert_eq!(read.inviter, made.inviter);
            prop_assert!(read.secret.matches(&made.secret));
            prop_assert_eq!(read.expires, made.expires);
            prop_assert_eq!(read.role, made.role);
            prop_assert_eq!(read.name, made.name);
            prop_assert_eq!(read.addresses, made.addresses);
        }

        #[test]
        fn no_text_makes_it_panic(text in "(DTCREW1)?\\PC{0,200}") {
            let _ = text.parse::<Ticket>();
        }
    }
}
