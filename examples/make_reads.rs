//! Makes demo-data/reads: read logs of an invented race, from plain chances and no physics. Run from the project: `cargo run --release --example make_reads`.
//! With a number of runners and a folder it makes a larger set there.

use readodds::random::{Purpose, Stream};
use std::fmt::Write;
use std::path::{Path, PathBuf};

const START_S: f64 = 2_242_017_600.0;

fn main() -> std::io::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let runners: u64 = arguments.first().and_then(|n| n.parse().ok()).unwrap_or(240);
    let folder = arguments.get(1).map_or(PathBuf::from("demo-data/reads"), PathBuf::from);
    std::fs::create_dir_all(&folder)?;
    let first = "# Invented: reads of a race that never was, made by examples/make_reads.rs.\n";
    let mut stream = Stream::new(20_410_518, Purpose::Campaign, 11, 0, 0);
    let epc = |k: u64| format!("E28011{:018X}", 0x5ca1_ab1e_0000 + k);
    let mut handed_out = format!("{first}epc,bib\n");
    let mut filmed = format!("{first}epc\n");
    let mut logs = [
        format!("{first}epc,antenna,t\n"),
        format!("{first}epc,antenna,t\n"),
        format!("{first}EPC,AntennaID,FirstSeenTimestampUTC,TagSeenCount\n"),
    ];
    for k in 1..=runners {
        let _ = writeln!(handed_out, "{},{k}", epc(k));
        // One in thirty never starts, one in forty gives up between the second point and the finish.
        if stream.uniform() < 1.0 / 30.0 {
            continue;
        }
        let finished = stream.uniform() >= 1.0 / 40.0;
        // Some bibs are badly worn at every point.
        let missed = if stream.uniform() < 0.03 { 0.4 } else { 0.006 };
        let pace_s_per_m = 0.24 + 0.14 * stream.uniform();
        for (p, at_m) in [10_000.0, 15_000.0, 21_097.5].into_iter().enumerate() {
            if p == 2 && !finished {
                continue;
            }
            if p == 2 {
                let _ = writeln!(filmed, "{}", epc(k));
            }
            let lines: &[(u64, u64)] = if p == 2 { &[(1, 2), (3, 4)] } else { &[(1, 2)] };
            for (line, ports) in lines.iter().enumerate() {
                if stream.uniform() < missed {
                    continue;
                }
                let reads = 1 + (24.0 * stream.uniform() * stream.uniform()) as u64;
                let here_s = START_S + at_m * pace_s_per_m + 3.0 * line as f64;
                for read in 0..reads {
                    let port = if stream.uniform() < 0.5 { ports.0 } else { ports.1 };
                    let at_s = here_s + 0.06 * read as f64 + 0.02 * stream.uniform();
                    let _ = match p {
                        2 => writeln!(logs[p], "{},{port},{:.0},1", epc(k), 1e6 * at_s),
                        _ => writeln!(logs[p], "{},{port},{at_s:.3}", epc(k)),
                    };
                }
            }
        }
    }
    let write = |name: &str, text: &str| std::fs::write(Path::new(&folder).join(name), text);
    write("handed-out.csv", &handed_out)?;
    write("filmed.csv", &filmed)?;
    for (name, log) in ["10-km.csv", "15-km.csv", "finish.csv"].into_iter().zip(&logs) {
        write(name, log)?;
    }
    Ok(())
}
