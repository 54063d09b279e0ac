//! The records of a text, with the lines on which they begin.

/// The records that are not blank, each with the line on which it begins.
pub(crate) struct Records<'t> {
    text: &'t str,
    reader: csv::Reader<&'t [u8]>,
    /// Lines are counted up to this byte.
    at: usize,
    line: u64,
}

impl<'t> Records<'t> {
    pub(crate) fn new(text: &'t str, separator: u8) -> Records<'t> {
        let reader = csv::ReaderBuilder::new()
            .delimiter(separator)
            .has_headers(false)
            .flexible(true)
            .from_reader(text.as_bytes());
        Records {
            text,
            reader,
            at: 0,
            line: 1,
        }
    }

    /// The line of a record. The reader's own position is that of the empty lines before it.
    fn line_of(&mut self, record: &csv::StringRecord) -> u64 {
        let position = record.position().map_or(0, csv::Position::byte);
        let from = usize::try_from(position).unwrap_or_default();
        let bytes = self.text.as_bytes().get(self.at..).unwrap_or_default();
        let passed = bytes
            .iter()
            .enumerate()
            .take_while(|(offset, byte)| self.at + offset < from || **byte == b'\n');
        let (mut skipped, mut breaks) = (0, 0);
        for (_, byte) in passed {
            skipped += 1;
            breaks += u64::from(*byte == b'\n');
        }
        self.at += skipped;
        self.line += breaks;
        self.line
    }
}

impl Iterator for Records<'_> {
    type Item = (u64, Vec<String>);

    fn next(&mut self) -> Option<(u64, Vec<String>)> {
        let mut record = csv::StringRecord::new();
        // The text is UTF-8 and rows may differ in length, so the reader has nothing to refuse.
        while self.reader.read_record(&mut record).unwrap_or(false) {
            if !record.iter().all(blank) {
                let line = self.line_of(&record);
                return Some((line, record.iter().map(str::to_owned).collect()));
            }
        }
        None
    }
}

/// Whether nothing stands in a cell.
pub(crate) fn blank(cell: &str) -> bool {
    cell.trim().is_empty()
}
