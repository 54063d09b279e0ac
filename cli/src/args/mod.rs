//! What can be typed.

mod archive;
mod crew;
mod estimate;
mod measuring;
mod paths;
mod photo;
mod tram;

use std::path::PathBuf;

use clap::{Parser, Subcommand, ValueEnum};

pub use archive::{Export, For, Open, Paper, Seal, SealCommand};
pub use crew::{Crew, Keep, Role, Sync};
pub use estimate::Support;
pub use measuring::{Blunders, Check, Material, Move, Setup, Survey, SurveyAdd};
pub use photo::Photo;
pub use tram::{About as TramAbout, Kind, Tram};

/// The record of a structural collision repair: what was measured, photographed and noted at each
/// stage, and how far the structure is from where its maker says it must be.
#[derive(Debug, Parser)]
#[command(
    name = "datumtrail",
    version,
    max_term_width = 80,
    propagate_version = true,
    after_help = "Datumtrail records and computes; it certifies nothing. Follow the vehicle \
                  maker's repair procedure and the law where you are."
)]
pub struct Args {
    /// The shop folder [default: the platform's data folder]
    #[arg(long, global = true, env = "DATUMTRAIL_SHOP", value_name = "DIR")]
    pub shop: Option<PathBuf>,
    /// The job, by name or identity [default: the current one]
    #[arg(long, global = true, value_name = "JOB")]
    pub job: Option<String>,
    /// Who is at the keyboard; stands in every record that is written
    #[arg(
        long = "as",
        global = true,
        env = "DATUMTRAIL_PERSON",
        value_name = "NAME"
    )]
    pub person: Option<String>,
    /// Print JSON, for programs
    #[arg(long, global = true)]
    pub json: bool,
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Play an invented repair through, from the maker's dimensions to the archive
    Demo {
        /// Keep everything in this folder
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
    },
    /// Jobs: one vehicle, one repair
    #[command(subcommand)]
    Job(Job),
    /// Dimension sheets: what the maker publishes
    #[command(subcommand)]
    Sheet(Sheet),
    /// The new part: which control points are on it
    #[command(subcommand)]
    Part(Part),
    /// The plan: stages and hold points
    #[command(subcommand)]
    Plan(Plan),
    /// Stages of the repair
    #[command(subcommand)]
    Stage(Stage),
    /// Surveys and readings
    #[command(subcommand)]
    Survey(Survey),
    /// Reference points: what a choice of them could decide and miss
    #[command(subcommand)]
    Setup(Setup),
    /// Set-up, deviations and verdicts of a survey
    Check(Check),
    /// What moved: mash, sag, sidesway, twist, diamond, spread, and how far it went
    Damage {
        /// The survey, or a stage for its newest [default: the newest survey]
        #[arg(long)]
        survey: Option<String>,
    },
    /// Where to push a part, and what to expect afterwards
    Move(Move),
    /// Tram readings: distances between control points
    #[command(subcommand)]
    Tram(Tram),
    /// What moved between two surveys, whatever the sheet says
    Compare {
        /// The earlier survey, or a stage for its newest
        before: String,
        /// The later one
        after: String,
        /// Points that have not moved [default: the reference points that both have]
        #[arg(long, value_delimiter = ',')]
        refs: Vec<String>,
    },
    /// Hold points: what they need, and who released them
    #[command(subcommand)]
    Hold(Hold),
    /// Photos and cameras' clocks
    #[command(subcommand)]
    Photo(Photo),
    /// Notes
    #[command(subcommand)]
    Note(Note),
    /// The crew: the devices that share the shop's jobs
    #[command(subcommand)]
    Crew(Crew),
    /// Share the jobs with the other devices of the crew, until stopped
    Sync(Sync),
    /// Withdraw a record: it stays, with the reason, and no longer counts
    Withdraw {
        /// Its identity; the last digits are enough
        id: String,
        #[arg(long)]
        reason: String,
    },
    /// Seal a closed stage: this device signs what it rests on, so that whatever is added or changed
    /// afterwards shows
    Seal(Seal),
    /// Write the archive that leaves the shop
    Export(Export),
    /// Bring an archive into this shop, as a job; a job that is here already is merged with it
    Open(Open),
    /// Check every byte of an archive
    Verify {
        /// The archive, a zip file or a folder
        file: PathBuf,
    },
}

#[derive(Debug, Subcommand)]
pub enum Job {
    /// Make a job, and work on it from now on
    New {
        name: String,
        #[arg(long)]
        vehicle: Option<String>,
        /// The IANA time zone of the shop [default: the computer's]
        #[arg(long)]
        zone: Option<String>,
        /// A plan of your own instead of the shipped one
        #[arg(long, value_name = "FILE")]
        plan: Option<PathBuf>,
    },
    /// The jobs in this shop
    List,
    /// Work on this job from now on
    Use { job: String },
    /// The job on one screen
    Show,
    /// Name it differently
    Rename { name: String },
    /// What two people did at once, and what was set aside
    Conflicts,
    /// Say that clashing records all stand as they are
    Settle {
        /// The identities of all sides; the last digits are enough
        #[arg(required = true)]
        records: Vec<String>,
        #[arg(long)]
        reason: String,
    },
    /// Which devices of the crew have the job
    Share {
        /// These members only, by name or key, and this device
        #[arg(
            long,
            value_delimiter = ',',
            value_name = "DEVICE",
            conflicts_with = "everyone"
        )]
        with: Vec<String>,
        /// Every member again
        #[arg(long)]
        everyone: bool,
    },
}

#[derive(Debug, Subcommand)]
pub enum Sheet {
    /// Load the maker's dimensions
    Load {
        file: PathBuf,
        /// Where they were published
        #[arg(long)]
        source: String,
        /// A limit for every axis of every point that the file gives none for
        #[arg(long, value_name = "MM")]
        limit: Option<f64>,
        /// Whose limit that is
        #[arg(long, value_name = "TEXT")]
        limit_source: Option<String>,
        #[arg(long, default_value = "mm")]
        units: Units,
        /// Where the file's x, y and z grow, such as forward,left,up
        #[arg(long, default_value = "rearward,right,up")]
        axes: String,
        /// Keep the sheet that counts and add this to it: distances beside positions
        #[arg(long)]
        add: bool,
    },
    /// The sheet that counts
    Show,
    /// The sheet against itself: chains that don't close, diagonals that contradict, sides that
    /// don't mirror
    Audit,
    /// Coordinates from a sheet of distances, as far as these suffice
    Solve {
        /// A point of the sheet whose length is to be zero
        #[arg(long)]
        front: String,
        /// A point farther to the vehicle's rear: distances don't say which way is forward
        #[arg(long)]
        rear: String,
        /// Write them to this file, to be loaded as a sheet
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Where zones and members lie; what the sheet leaves open is proposed, for you to confirm
    Layout {
        /// Correct places: POINT=ZONE/MEMBER, such as "H=front/left rail"
        #[arg(long = "set", value_name = "PLACE")]
        set: Vec<String>,
        /// Confirm all places as they are shown
        #[arg(long)]
        confirm: bool,
    },
    /// Take over the sheet of another job
    Take {
        #[arg(long, value_name = "JOB")]
        from: String,
    },
}

#[derive(Debug, Subcommand)]
pub enum Part {
    /// Say which control points are on the new part
    Set {
        name: String,
        #[arg(long, value_delimiter = ',', required = true)]
        points: Vec<String>,
    },
    /// The new part
    Show,
}

#[derive(Debug, Subcommand)]
pub enum Plan {
    /// Print the plan, to edit it
    Show,
    /// Use an edited plan
    Load { file: PathBuf },
}

#[derive(Debug, Subcommand)]
pub enum Stage {
    /// Open a stage
    Open {
        stage: String,
        /// When it began, if not now: 2026-03-04T14:03:20
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
    },
    /// Close a stage
    Close {
        stage: String,
        /// When it ended, if not now
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
    },
    /// The stages, and when they were open
    List,
}

#[derive(Debug, Subcommand)]
pub enum Hold {
    /// The hold points, and what they need
    List,
    /// Tick a check that a hold point needs
    Tick {
        check: String,
        #[arg(long)]
        note: Option<String>,
    },
    /// Pass a hold point without its evidence; name and reason stay for ever
    Release {
        hold: String,
        /// The person who answers for it, and who is qualified to
        #[arg(long)]
        name: String,
        #[arg(long)]
        reason: String,
    },
}

#[derive(Debug, Subcommand)]
pub enum Note {
    /// Write something down
    Add {
        text: String,
        /// [default: the stage that is open]
        #[arg(long)]
        stage: Option<String>,
        #[arg(long)]
        photo: Option<String>,
        /// What the plan asks for by this key
        #[arg(long, value_name = "KEY")]
        about: Option<String>,
        /// For the shop alone: it stays out of copies for others
        #[arg(long)]
        internal: bool,
    },
    /// The notes
    List,
    /// Say that a note supports a line of the estimate
    Support(Support),
    /// The lines of the estimate that notes support
    Supports,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Units {
    Mm,
    In,
}

impl Units {
    /// As the core reads it.
    pub fn word(self) -> String {
        match self {
            Units::Mm => "mm".into(),
            Units::In => "in".into(),
        }
    }
}
