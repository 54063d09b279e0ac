//! What can be typed about photos.

use std::path::PathBuf;

use clap::Subcommand;

#[derive(Debug, Subcommand)]
pub enum Photo {
    /// Take in photos, files or folders; their bytes stay as they are
    Add {
        #[arg(required = true)]
        paths: Vec<PathBuf>,
        /// Put them in this stage, whatever their times say
        #[arg(long)]
        stage: Option<String>,
        /// What the shop calls the camera, where its files carry no serial number
        #[arg(long, value_name = "NAME")]
        camera: Option<String>,
    },
    /// Take in what appears in a folder, until stopped
    Watch {
        dir: PathBuf,
        /// What the shop calls the camera, where its files carry no serial number
        #[arg(long, value_name = "NAME")]
        camera: Option<String>,
        /// Take in what is there now, and stop
        #[arg(long)]
        once: bool,
    },
    /// The photos, their times and stages
    List {
        #[arg(long)]
        stage: Option<String>,
        /// Show every photo of a burst
        #[arg(long)]
        all: bool,
    },
    /// Go through the photos whose stage is doubtful, one by one
    Review,
    /// Show a code of the current time, to be photographed by every camera in the shop
    Timecode {
        /// Print one code and stop
        #[arg(long)]
        once: bool,
    },
    /// Say what a camera's clock shows
    #[command(allow_hyphen_values = false)]
    Clock {
        /// The camera, or a part of its name
        camera: String,
        /// What has to be added to its time, such as 1h7m12s or -4m
        #[arg(long, allow_hyphen_values = true, conflicts_with_all = ["photo", "was"])]
        offset: Option<String>,
        /// A photo whose true time is known, or that shows a time code
        #[arg(long)]
        photo: Option<String>,
        /// Its true time: 2026-03-04 14:03:20 [default: by the time code in it]
        #[arg(long, requires = "photo")]
        was: Option<String>,
        /// How well that is known: the standard uncertainty in seconds
        #[arg(long, default_value_t = 5.0)]
        u: f64,
    },
    /// Say to which stage a photo belongs; this wins over its time
    Tie { photo: String, stage: String },
    /// Say that a photo shows how a reading was taken
    Of {
        photo: String,
        /// The point, for its newest reading, or the reading's identity
        reading: String,
    },
    /// Cover a face or a number plate in whatever leaves the shop; the original stays
    Cover {
        photo: String,
        /// x,y,width,height in pixels of the upright picture
        rectangle: String,
    },
    /// Write a photo's bytes to a file, as they came
    Save { photo: String, file: PathBuf },
}
