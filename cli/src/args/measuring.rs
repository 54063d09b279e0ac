//! What can be typed about measuring.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::Units;

#[derive(Debug, Subcommand)]
pub enum Survey {
    /// Add a survey, with its readings or empty
    Add(SurveyAdd),
    /// Type one reading
    #[command(allow_negative_numbers = true)]
    Point {
        point: String,
        x: f64,
        y: f64,
        z: f64,
        /// Its standard uncertainty
        #[arg(long, value_name = "MM")]
        u: Option<f64>,
        #[arg(long, default_value = "mm")]
        units: Units,
        /// Correct the reading that is there; the old one stays on record
        #[arg(long, conflicts_with = "repeat")]
        correct: bool,
        /// One more reading of the same point; they are averaged
        #[arg(long)]
        repeat: bool,
        /// The survey, or a stage for its newest [default: the newest survey]
        #[arg(long)]
        survey: Option<String>,
    },
    /// Mend a blunder in the readings; what was there stays on record
    Correct {
        /// The survey, or a stage for its newest [default: the newest survey]
        survey: Option<String>,
        #[command(flatten)]
        blunder: Blunders,
    },
    /// The surveys
    List,
    /// The readings of a survey, as they were observed
    Show {
        /// The survey, or a stage for its newest [default: the newest survey]
        survey: Option<String>,
    },
}

#[derive(Debug, Args)]
#[group(required = true, multiple = true)]
pub struct Blunders {
    /// The labels of two points were swapped
    #[arg(long, value_delimiter = ',', num_args = 1, value_name = "A,B",
          conflicts_with_all = ["swap_sides", "mirror", "times"])]
    pub swap: Vec<String>,
    /// Left and right labels were exchanged throughout
    #[arg(long, conflicts_with_all = ["mirror", "times"])]
    pub swap_sides: bool,
    /// One axis of the instrument had the wrong sign
    #[arg(long, conflicts_with = "times")]
    pub mirror: bool,
    /// Readings have to be multiplied: 25.4 for inches taken as millimetres
    #[arg(long, value_name = "FACTOR", allow_hyphen_values = true)]
    pub times: Option<f64>,
    /// Only the reading of this point
    #[arg(long, requires = "times")]
    pub point: Option<String>,
    /// Only this coordinate of it
    #[arg(long, requires = "point")]
    pub coordinate: Option<Coordinate>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Coordinate {
    X,
    Y,
    Z,
}

#[derive(Debug, Args)]
pub struct SurveyAdd {
    /// Readings: point,x,y,z with optional u and time
    pub file: Option<PathBuf>,
    #[arg(long)]
    pub stage: String,
    /// Control points trusted as undamaged, six or more where you can
    #[arg(long, value_delimiter = ',', required_unless_present = "joins")]
    pub refs: Vec<String>,
    /// A further set-up of this survey, joined through the points that both have read
    #[arg(long, value_name = "SURVEY", conflicts_with = "refs")]
    pub joins: Option<String>,
    #[command(flatten)]
    pub instrument: Instrument,
    /// The part of the uncertainty that differs each time a point is read, a standard deviation
    #[arg(long, value_name = "MM")]
    pub repeatability: Option<f64>,
    /// Where the build spread is published
    #[arg(long, value_name = "TEXT")]
    pub build_spread_source: Option<String>,
    #[arg(long = "instrument", value_name = "TEXT")]
    pub instrument_name: Option<String>,
    /// The structure's temperature, to correct the readings to 20 degrees
    #[arg(
        long,
        value_name = "CELSIUS",
        requires = "material",
        allow_hyphen_values = true
    )]
    pub temperature: Option<f64>,
    /// What the structure is made of
    #[arg(long, requires = "temperature")]
    pub material: Option<Material>,
    #[arg(long, default_value = "mm")]
    pub units: Units,
}

/// What an instrument can do.
#[derive(Debug, Args)]
pub struct Instrument {
    /// The instrument's maximum permissible error, a bound for each axis
    #[arg(long, value_name = "MM", conflicts_with = "u")]
    pub mpe: Option<f64>,
    /// That error bounds the distance in space, not each axis
    #[arg(long, requires = "mpe")]
    pub in_space: bool,
    /// The standard uncertainty of each coordinate
    #[arg(long, value_name = "MM")]
    pub u: Option<f64>,
    /// What seating, targets and adapters add on each axis, a standard uncertainty
    #[arg(long, value_name = "MM")]
    pub seating: Option<f64>,
    /// How far an undamaged vehicle may itself be from the sheet, a standard deviation
    #[arg(long, value_name = "MM")]
    pub build_spread: Option<f64>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Material {
    /// 12 millionths a kelvin (EN 1993-1-1)
    Steel,
    /// 23 millionths a kelvin (EN 1999-1-1)
    Aluminium,
}

#[derive(Debug, Subcommand)]
pub enum Setup {
    /// Before measuring: what these reference points and this instrument could decide and miss
    Plan {
        /// Control points trusted as undamaged, six or more where you can
        #[arg(long, value_delimiter = ',', required = true)]
        refs: Vec<String>,
        #[command(flatten)]
        instrument: Instrument,
    },
}

#[derive(Debug, Args)]
pub struct Check {
    /// The survey, or a stage for its newest [default: the newest survey]
    #[arg(long)]
    pub survey: Option<String>,
    /// Take all reference points as they are
    #[arg(long)]
    pub no_screen: bool,
    /// Take the instrument as worse than stated: scale every uncertainty by how the reference
    /// points scatter
    #[arg(long)]
    pub instrument_worse: bool,
}

#[derive(Debug, Args)]
pub struct Move {
    /// Its control points [default: those of the new part]
    #[arg(long, value_delimiter = ',')]
    pub points: Vec<String>,
    /// Only along a line: x, y or z; two control points FROM,TO; or a vector such as 1,0,0.2
    #[arg(long, value_name = "LINE", allow_hyphen_values = true)]
    pub slide: Option<String>,
    /// And a turn about a line: x, y, z or a vector, through the middle of the part; or FROM,TO
    #[arg(
        long,
        value_name = "LINE",
        requires = "slide",
        allow_hyphen_values = true
    )]
    pub turn: Option<String>,
    /// The survey, or a stage for its newest [default: the newest survey]
    #[arg(long)]
    pub survey: Option<String>,
    /// Put on record that this move will be made; the next survey is held against it
    #[arg(long)]
    pub decide: bool,
    /// What the survey says about the move decided before it
    #[arg(long, conflicts_with_all = ["decide", "slide", "turn", "points"])]
    pub achieved: bool,
}
