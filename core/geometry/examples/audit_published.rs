//! Audits two published distance tables and prints what it found as markdown. `audit.md` is its
//! output, and `tests/audit_published.rs` holds the two together:
//!
//! ```text
//! cargo run -p datumtrail-geometry --example audit_published > core/geometry/audit.md
//! ```

#[path = "../tests/audit_tables/mod.rs"]
mod audit_tables;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    print!("{}", audit_tables::report::markdown()?);
    Ok(())
}
