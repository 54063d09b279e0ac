//! What can go wrong between devices, in words that say what happened and what to do.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

/// The result of everything in this crate that can fail.
pub type Result<T> = std::result::Result<T, CrewError>;

/// What went wrong. [`CrewError::todo`] says what the person can do about it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CrewError {
    /// This device belongs to no crew yet.
    #[error("this device belongs to no crew")]
    NoCrew,

    /// This device belongs to a crew already and can't join or found another.
    #[error("this device already belongs to a crew")]
    InCrew,

    /// This device was removed from its crew.
    #[error("this device was removed from its crew")]
    Removed,

    /// The text is no ticket, or one with a slip of the pen.
    #[error("this is not an invitation ticket: {0}")]
    NotATicket(String),

    /// Only a device that keeps the crew may do this.
    #[error("this device may not {0}")]
    NotAllowed(&'static str),

    /// No member has this key or name.
    #[error("no device of the crew is called «{0}»")]
    UnknownMember(String),

    /// Several members fit what was typed.
    #[error("«{0}» fits {1} devices of the crew")]
    Ambiguous(String, usize),

    /// A name that can't be used.
    #[error("a device's name has 1 to {max} characters and no line breaks")]
    BadName {
        /// The most characters.
        max: usize,
    },

    /// The other side said no.
    #[error("{who} refused: {why}")]
    Refused {
        /// The other device, as far as known.
        who: String,
        /// Its reason.
        why: Refusal,
    },

    /// Nobody answered.
    #[error("{who} could not be reached: {why}")]
    Unreachable {
        /// The device or address.
        who: String,
        /// What the network said.
        why: String,
    },

    /// A file is not what it was. It is never replaced.
    #[error("{}: {why}", what.display())]
    Damaged {
        /// The file.
        what: PathBuf,
        /// What is wrong with it.
        why: String,
    },

    /// The file system refused.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// Its words.
        source: std::io::Error,
    },

    /// The network could not be used at all.
    #[error("the network can't be used: {0}")]
    Network(String),

    /// The engine has been stopped.
    #[error("the crew's engine has stopped")]
    Stopped,

    /// A mistake of ours.
    #[error("internal error: {0}")]
    Internal(String),
}

impl CrewError {
    pub(crate) fn io(path: &std::path::Path, source: std::io::Error) -> Self {
        CrewError::Io {
            path: path.to_owned(),
            source,
        }
    }

    /// What to do about it, one sentence.
    pub fn todo(&self) -> String {
        match self {
            CrewError::NoCrew => "found one by inviting another device, or join one with a ticket",
            CrewError::InCrew => {
                "a shop folder belongs to one crew for good; open another folder to join another"
            }
            CrewError::Removed => {
                "a removed device can't come back with its old key: make a new shop folder on it \
                 and join with a new ticket"
            }
            CrewError::NotATicket(_) => "copy the whole ticket, or scan its picture",
            CrewError::NotAllowed(_) => "ask somebody at a device that keeps the crew",
            CrewError::UnknownMember(_) | CrewError::Ambiguous(..) => {
                "use a name or the first digits of a key that the list of devices shows"
            }
            CrewError::BadName { .. } => "give a short name, such as where the device stands",
            CrewError::Refused { why, .. } => return why.todo().to_owned(),
            CrewError::Unreachable { .. } => {
                "see whether both devices are on the same network, running and not behind a \
                 firewall that blocks UDP; give its address where discovery is blocked"
            }
            CrewError::Damaged { .. } => "restore the file from a backup",
            CrewError::Io { .. } => "see whether the disk is full or write-protected",
            CrewError::Network(_) => "see whether the device has a network",
            CrewError::Stopped => "start it again",
            CrewError::Internal(_) => "please report this with what you did before",
        }
        .to_owned()
    }
}

/// Why a device turns another one away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, thiserror::Error)]
#[non_exhaustive]
pub enum Refusal {
    /// Not in the crew, and no ticket.
    #[error("it is not a device of this crew")]
    Stranger,
    /// Removed from the crew.
    #[error("it was removed from the crew")]
    Removed,
    /// The ticket's secret is none that was given out, or its device has been restarted since.
    #[error("the ticket is not known here")]
    TicketUnknown,
    /// The ticket's time is over.
    #[error("the ticket has expired")]
    TicketExpired,
    /// A ticket admits one device.
    #[error("the ticket has been used")]
    TicketUsed,
    /// Too many wrong tickets were shown; all open ones are void.
    #[error("too many wrong tickets were shown")]
    TooManyAttempts,
    /// It is in this crew already.
    #[error("it is in the crew already")]
    AlreadyMember,
    /// It did not keep to the protocol.
    #[error("it did not keep to the protocol")]
    Garbage,
    /// It said nothing within the time allowed.
    #[error("it did not answer in time")]
    Silent,
    /// It asks for more than is allowed.
    #[error("it asked for too much")]
    TooMuch,
    /// The device is being stopped.
    #[error("it is closing down")]
    Closing,
}

impl Refusal {
    /// What to do about it, one sentence.
    pub fn todo(self) -> &'static str {
        match self {
            Refusal::Stranger => "join with a ticket from a device that keeps the crew",
            Refusal::Removed => {
                "a removed device can't come back with its old key: make a new shop folder on it \
                 and join with a new ticket"
            }
            Refusal::TicketUnknown
            | Refusal::TicketExpired
            | Refusal::TicketUsed
            | Refusal::TooManyAttempts => "ask for a new ticket",
            Refusal::AlreadyMember => "nothing: it is in the crew",
            Refusal::Garbage | Refusal::TooMuch => {
                "see whether both devices run the same version of the program"
            }
            Refusal::Silent | Refusal::Closing => "try again",
        }
    }
}
