//! What can be typed about the estimate.

use clap::Args;

#[derive(Debug, Args)]
pub struct Support {
    /// The note behind it; the last digits of its identity are enough
    pub note: String,
    /// What has to be done, as the estimate says it: replace, align, refinish
    #[arg(long)]
    pub operation: String,
    /// The part it is done to
    #[arg(long)]
    pub part: String,
    /// Why it is needed
    #[arg(long)]
    pub reason: String,
    /// A photo that shows it; can be given several times
    #[arg(long = "photo", value_name = "ID")]
    pub photos: Vec<String>,
    /// A reading that shows it; can be given several times
    #[arg(long = "reading", value_name = "ID")]
    pub readings: Vec<String>,
    /// Correct a line that was written before; the old one stays on record
    #[arg(long, value_name = "ID")]
    pub replaces: Option<String>,
}
