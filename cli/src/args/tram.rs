//! What can be typed about tram readings.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::Units;

#[derive(Debug, Subcommand)]
pub enum Tram {
    /// Record one distance
    Add {
        /// From this control point
        p: String,
        /// To this one
        q: String,
        value: f64,
        /// How the gauge was held: they differ whenever the heights do
        #[arg(long)]
        kind: Kind,
        #[command(flatten)]
        about: About,
    },
    /// Record the height of a point above the datum plane
    #[command(allow_negative_numbers = true)]
    Height {
        p: String,
        value: f64,
        #[command(flatten)]
        about: About,
    },
    /// Record a file of distances: kind,a,b,value with optional u and time
    Import {
        file: PathBuf,
        #[command(flatten)]
        about: General,
    },
    /// Every reading against the sheet, and the diagonals of symmetrical fours
    List {
        /// [default: the stage of the newest reading]
        #[arg(long)]
        stage: Option<String>,
        /// How far an undamaged vehicle may itself be from the sheet, a standard deviation
        #[arg(long, value_name = "MM")]
        build_spread: Option<f64>,
    },
    /// The positions that the readings determine
    Solve {
        /// Control points trusted as undamaged: they hold the rest
        #[arg(long, value_delimiter = ',', required = true)]
        refs: Vec<String>,
        /// [default: the stage of the newest reading]
        #[arg(long)]
        stage: Option<String>,
        /// How far an undamaged vehicle may itself be from the sheet, a standard deviation
        #[arg(long, value_name = "MM")]
        build_spread: Option<f64>,
        /// The longest distance that the gauge reaches, for the reading proposed next
        #[arg(long, value_name = "MM")]
        reach: Option<f64>,
    },
}

#[derive(Debug, Args)]
pub struct About {
    #[command(flatten)]
    pub general: General,
    /// The reading that this one corrects; it stays on record
    #[arg(long, value_name = "ID")]
    pub corrects: Option<String>,
}

#[derive(Debug, Args)]
pub struct General {
    /// The standard uncertainty of a reading
    #[arg(long, value_name = "MM")]
    pub u: Option<f64>,
    /// [default: the stage that is open]
    #[arg(long)]
    pub stage: Option<String>,
    #[arg(long, value_name = "TEXT")]
    pub instrument: Option<String>,
    #[arg(long, default_value = "mm")]
    pub units: Units,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Kind {
    /// Point to point
    True,
    /// Projected onto the datum plane: without the difference in height
    Level,
}
