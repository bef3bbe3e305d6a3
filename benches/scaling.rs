//! How time and memory grow with passings, antennas, neighbours, timing points and tags.
//!
//! `cargo bench --bench scaling` prints the table. Everything but the row's own number stays as in the first row: one point with four mats on a
//! 6 m road in rain, 150 runners a minute, one tag. Peak memory is VmHWM of the process, set back before each row (Linux only).

use readodds::estimate::checkpoint::Kept;
use readodds::estimate::run::{Plan, ask, run};
use readodds::estimate::world::Ask;
use readodds::{course, passing, tag};
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

const TAGS: [&str; 5] = ["birch", "cedar", "dogwood", "alder", "elm"];

#[derive(Clone, Copy)]
struct Case {
    passings: u64,
    antennas: usize,
    flow_per_min: f64,
    points: usize,
    tags: usize,
}

const BASE: Case = Case { passings: 20_000, antennas: 4, flow_per_min: 150.0, points: 1, tags: 1 };

fn main() {
    println!(
        "{:<22} {:>9} {:>9} {:>14} {:>12} {:>10}",
        "what grows", "passings", "s", "µs/passing", "per base", "peak MB"
    );
    let mut base = 0.0;
    let mut row = |name: String, case: Case| {
        clear_peak();
        let start = Instant::now();
        let passings = go(&case);
        let seconds = start.elapsed().as_secs_f64();
        let each = 1e6 * seconds / passings as f64;
        if base == 0.0 {
            base = each;
        }
        println!(
            "{name:<22} {passings:>9} {seconds:>9.2} {each:>14.1} {:>12.2} {:>10}",
            each / base,
            peak_mb().map_or("-".to_owned(), |mb| format!("{mb:.0}"))
        );
    };
    for passings in [20_000, 80_000, 320_000] {
        row(format!("{passings} passings"), Case { passings, ..BASE });
    }
    for antennas in [1, 2, 4, 8, 16] {
        row(format!("{antennas} antennas"), Case { antennas, ..BASE });
    }
    for flow in [1.0, 75.0, 150.0, 300.0, 600.0] {
        row(format!("{flow} runners a minute"), Case { flow_per_min: flow, ..BASE });
    }
    for points in [1, 2, 4, 8] {
        row(format!("{points} timing points"), Case { points, ..BASE });
    }
    for tags in [1, 2, 5] {
        row(format!("{tags} tags"), Case { tags, ..BASE });
    }
}

/// Runs the case and returns the passings of one tag.
fn go(case: &Case) -> u64 {
    let file = Path::new(env!("CARGO_TARGET_TMPDIR")).join("scaling.toml");
    std::fs::write(&file, scenario(case)).expect("the target folder can be written");
    let (course, _) = course::load(&file).expect("the scenario is valid");
    let course = Arc::new(course);
    let mut passings = 0;
    for name in &TAGS[..case.tags] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/tags").join(name);
        let (tag, _) = tag::load(&folder).expect("shipped tag loads");
        let prepared = passing::prepare(course.clone(), Arc::new(tag));
        let plan =
            Plan { worlds: Some((case.passings / 64).max(16)), passings_per_world: 64, ..Plan::new(1) };
        let ask = ask(&prepared, &plan, Ask::standard_masks(&prepared));
        let done = run(&prepared, &plan, ask, &mut Kept::nowhere(), &|_| false, &|| false, &mut |_| {});
        passings = done.rows.iter().map(|row| row.passings).sum();
    }
    passings
}

fn scenario(case: &Case) -> String {
    let mut text = format!(
        "# Invented: a straight road that exists nowhere.\n\
         note = \"Invented\"\ntag = \"{}/demo-data/tags/birch\"\n\
         [event]\nname = \"Nowhere run\"\ndistance_km = 10.0\n\
         [region]\nkey = \"eu_lower\"\n[weather]\nkey = \"rain\"\n[field]\nrunners = 6000\n\
         [every_reader]\nlink = \"miller4_250\"\nsession = \"S1\"\n\
         [every_antenna]\npower_dbm = 30.0\ncable_loss_db = 1.0\n\
         [every_point]\ntarget = 0.998\nroad_width_m = 6.0\nflow_per_min = {:.1}\n",
        env!("CARGO_MANIFEST_DIR"),
        case.flow_per_min
    );
    for point in 0..case.points {
        let _ = write!(
            text,
            "[[point]]\nname = \"point {point}\"\n[[point.line]]\nname = \"mats\"\n[[point.line.reader]]\nantenna = [\n"
        );
        for antenna in 0..case.antennas {
            let y_m = 6.0 * ((antenna as f64 + 0.5) / case.antennas as f64 - 0.5);
            let _ = writeln!(text, "  {{ name = \"mat {antenna}\", kind = \"mat\", y_m = {y_m:.3} }},");
        }
        text.push_str("]\n");
    }
    text
}

/// Sets the kernel's record of peak memory back.
fn clear_peak() {
    let _ = std::fs::write("/proc/self/clear_refs", "5");
}

fn peak_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}
