//! How time and memory of counting read logs grow with rows (memory must not) and with tags.
//!
//! `cargo bench --bench read_logs` prints the table. Rows are made as they are read; peak memory is VmHWM of the process, set back before each row (Linux only).

use readodds::outcome::read_log::Counts;
use readodds::outcome::reads::{Columns, Kept, Log, TimeFormat};
use readodds::outcome::tag_ids::Ids;
use std::io::{self, Read, Write};
use std::path::PathBuf;
use std::time::Instant;

fn main() {
    println!("{:>10} {:>9} {:>7} {:>8} {:>8}", "rows", "tags", "s", "Mrows/s", "peak MB");
    for (rows, tags) in [(1_000_000, 20_000), (5_000_000, 20_000), (20_000_000, 20_000), (5_000_000, 200_000)]
    {
        let _ = std::fs::write("/proc/self/clear_refs", "5");
        let start = Instant::now();
        let mut counts = Counts::default();
        let reads = Rows { row: 0, rows, tags, line: b"epc,antenna,t\n".to_vec(), at: 0 };
        let found = counts.add_rows(&log(), reads, &Ids::new().expect("random numbers"), None);
        assert!(found.is_empty() && counts.rows == rows && counts.tags.len() as u64 == tags);
        let seconds = start.elapsed().as_secs_f64();
        println!(
            "{rows:>10} {tags:>9} {seconds:>7.2} {:>8.2} {:>8}",
            1e-6 * rows as f64 / seconds,
            peak_mb().map_or("-".to_owned(), |mb| format!("{mb:.0}"))
        );
    }
}

fn log() -> Log {
    Log {
        file: PathBuf::from("made-up.csv"),
        point: "finish".to_owned(),
        lines: vec![
            ("main".to_owned(), vec!["1".to_owned(), "2".to_owned()]),
            ("backup".to_owned(), vec!["3".to_owned(), "4".to_owned()]),
        ],
        columns: Columns {
            tag: "epc".to_owned(),
            port: Some("antenna".to_owned()),
            time: Some("t".to_owned()),
            count: None,
        },
        time_format: TimeFormat::UnixUs,
        kept: Kept::EveryRead,
        from: None,
        until: None,
        clock_offset_s: 0.0,
    }
}

/// Rows of a log, each tag in turn.
struct Rows {
    row: u64,
    rows: u64,
    tags: u64,
    line: Vec<u8>,
    at: usize,
}

impl Read for Rows {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.at == self.line.len() {
            if self.row == self.rows {
                return Ok(0);
            }
            self.line.clear();
            self.at = 0;
            let (tag, time_us) = (self.row % self.tags, 2_242_017_600_000_000 + 50 * self.row);
            writeln!(self.line, "E28011{tag:018X},{},{time_us}", 1 + self.row % 4)?;
            self.row += 1;
        }
        let count = into.len().min(self.line.len() - self.at);
        into[..count].copy_from_slice(&self.line[self.at..self.at + count]);
        self.at += count;
        Ok(count)
    }
}

fn peak_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}
