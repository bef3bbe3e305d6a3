//! Read logs to counts: against a count of the same rows that shares no code with it, and what is refused.

mod command;

use command::{folder, one_line, readodds};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::Path;

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/reads");
const HALF: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios/half-marathon-rain-eu-lower.toml");

/// Cells of the rows of a demo file, without comments and header.
fn rows(file: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(Path::new(DEMO).join(file)).expect("demo reads");
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    rows.map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn first_column(file: &str) -> BTreeSet<String> {
    rows(file).into_iter().map(|row| row[0].clone()).collect()
}

fn answer(path: &Path) -> serde_json::Value {
    let done = readodds(&["reads", path.to_str().expect("UTF-8"), "--format", "json"]);
    assert_eq!(done.status.code(), Some(0), "{}", one_line(&done.stderr));
    serde_json::from_slice(&done.stdout).expect("JSON")
}

fn counts(answer: &serde_json::Value) -> Vec<(u64, u64)> {
    let points = answer["points"].as_array().expect("points");
    let number = |point: &serde_json::Value, key: &str| point[key].as_u64().expect("a count");
    points.iter().map(|p| (number(p, "passed"), number(p, "missed"))).collect()
}

#[test]
fn demo_logs_are_counted_as_by_hand() {
    let (ten, fifteen, finish) =
        (first_column("10-km.csv"), first_column("15-km.csv"), first_column("finish.csv"));
    let filmed = first_column("filmed.csv");
    let later: BTreeSet<_> = fifteen.union(&finish).cloned().collect();
    let missed = |who: &BTreeSet<String>, read: &BTreeSet<String>| who.difference(read).count() as u64;
    let by_hand = vec![
        (later.len() as u64, missed(&later, &ten)),
        (finish.len() as u64, missed(&finish, &fifteen)),
        (filmed.len() as u64, missed(&filmed, &finish)),
    ];
    let answer = answer(&Path::new(DEMO).join("reads.toml"));
    assert_eq!(counts(&answer), by_hand);
    assert!(by_hand.iter().all(|c| c.1 > 0), "a demo without misses shows nothing: {by_hand:?}");
    // Patterns of lines at the finish.
    let mut lines: HashMap<String, BTreeSet<&str>> = HashMap::new();
    for row in rows("finish.csv") {
        lines.entry(row[0].clone()).or_default().insert(if row[1].as_str() < "3" {
            "main"
        } else {
            "backup"
        });
    }
    let mut cells: BTreeMap<usize, u64> = BTreeMap::new();
    for who in &filmed {
        let read = lines.get(who);
        let bit = |line: &str| usize::from(read.is_some_and(|read| read.contains(line)));
        *cells.entry(bit("main") + 2 * bit("backup")).or_default() += 1;
    }
    for cell in answer["points"][2]["cells"].as_array().expect("cells") {
        let read: Vec<&str> =
            cell["read"].as_array().expect("lines").iter().filter_map(|l| l.as_str()).collect();
        let at = usize::from(read.contains(&"main")) + 2 * usize::from(read.contains(&"backup"));
        assert_eq!(cell["count"].as_u64(), Some(cells.get(&at).copied().unwrap_or(0)), "{read:?}");
    }
    let all = rows("10-km.csv").len() + rows("15-km.csv").len() + rows("finish.csv").len();
    assert_eq!(answer["rows"].as_u64(), Some(all as u64));
}

/// What is written is an outcome that `learn` reads, with the same counts and no tag number.
#[test]
fn written_counts_are_an_outcome_without_tag_numbers() {
    let folder = folder("written");
    let file = folder.join("outcome.toml");
    let demo = format!("{DEMO}/reads.toml");
    let done = readodds(&["reads", &demo, "--write", file.to_str().expect("UTF-8")]);
    assert_eq!(done.status.code(), Some(0), "{}", one_line(&done.stderr));
    let written = std::fs::read_to_string(&file).expect("written");
    let shown = String::from_utf8_lossy(&done.stdout).into_owned();
    let json = answer(Path::new(&demo)).to_string();
    for tag in first_column("handed-out.csv") {
        assert!(![&written, &shown, &json].iter().any(|text| text.contains(&tag)), "{tag}");
    }
    let outcome = readodds::outcome::race::load(&file).expect("an outcome").0;
    assert_eq!(outcome.counts.len(), 3);
    assert_eq!(counts(&answer(Path::new(&demo))).iter().map(|c| c.0).sum::<u64>(), 233 + 230 + 231);
    // Rows of strangers, of other hours and of lower case change nothing.
    for name in ["10-km.csv", "15-km.csv", "finish.csv", "filmed.csv", "handed-out.csv"] {
        let mut text = std::fs::read_to_string(Path::new(DEMO).join(name)).expect("demo reads");
        text = text.replace("E280", "e280");
        match name {
            "10-km.csv" => text.push_str("E2801100FFFF,1,2242020407.845\n"),
            "finish.csv" => text.push_str("E280110000005CA1AB1E0002,1,1000000,1\n"),
            _ => {}
        }
        std::fs::write(folder.join(name), text).expect("written");
    }
    let reads = std::fs::read_to_string(&demo)
        .expect("demo reads")
        .replace("../../scenarios/half-marathon-rain-eu-lower.toml", HALF);
    std::fs::write(folder.join("reads.toml"), reads).expect("written");
    let other = answer(&folder.join("reads.toml"));
    assert_eq!(counts(&other), counts(&answer(Path::new(&demo))));
    assert_eq!((other["foreign_rows"].as_u64(), other["untimely_rows"].as_u64()), (Some(1), Some(1)));
}

/// Two lines and nobody who knows who passed: what one missed of those the other read, and no more.
#[test]
fn lines_alone_give_no_count_of_both() {
    let folder = folder("lines");
    let log = "epc,port\na,1\na,2\nb,1\nc,2\nd,2\n";
    std::fs::write(folder.join("log.csv"), log).expect("written");
    let text = |lines: &str| {
        format!(
            "[race]\nname = \"R\"\nscenario = \"{HALF}\"\n[[log]]\nfile = \"log.csv\"\npoint = \"finish\"\ncolumns = {{ tag = \"epc\", port = \"port\" }}\nkept = \"first_only\"\n{lines}"
        )
    };
    let path = folder.join("reads.toml");
    let both =
        "[[log.line]]\nname = \"main\"\nports = [\"1\"]\n[[log.line]]\nname = \"backup\"\nports = [\"2\"]\n";
    std::fs::write(&path, text(both)).expect("written");
    let two = answer(&path);
    assert_eq!(two["points"][0]["reference"], "other_line");
    assert_eq!(counts(&two), [(3, 2)]);
    assert!(two["lines"][0]["by_reads"].is_null(), "first reads tell no number of reads");
    std::fs::write(&path, text("[[log.line]]\nname = \"main\"\n")).expect("written");
    let one = answer(&path);
    assert!(one["points"][0]["reference"].is_null());
    let done = readodds(&["reads", path.to_str().expect("UTF-8")]);
    assert!(one_line(&done.stdout).contains("Whom it missed nobody can tell from reads"));
}

#[test]
fn wrong_logs_are_refused() {
    let folder = folder("wrong");
    let text = |columns: &str, rest: &str| {
        format!(
            "[race]\nname = \"R\"\nscenario = \"{HALF}\"\n[[log]]\nfile = \"log.csv\"\npoint = \"finish\"\n{columns}\nkept = \"every_read\"\n{rest}[[log.line]]\nname = \"main\"\nports = [\"1\"]\n"
        )
    };
    let columns = "columns = { tag = \"epc\", port = \"port\", time = \"t\" }\ntime_format = \"unix_s\"";
    let usual = text(columns, "");
    for (reads, log, words) in [
        (usual.as_str(), "epc;port;t\na;1;5\n", "columns are separated by ';', expected ','"),
        (&usual, "epc,port,t,runner name\na,1,5,x\n", "column `runner name` holds people"),
        (&usual, "epc,port,t,birth_date\na,1,5,x\n", "column `birth_date` holds people"),
        (&usual, "epc,port,t\na,7,5\na,7,6\n", "log.csv:2:3|port \"7\" belongs to no line"),
        (&usual, "epc,port,t\na,1,5,25\n", "4 fields, the header has 3"),
        (&usual, "epc,port,t\na,1,nan\n", "log.csv:2:5|\"nan\" is no time"),
        (&usual, "epc,port\na,1\n", "column `t` is missing"),
        (&usual, "epc,port,t\n,1,5\n", "no tag number"),
        (&usual, "", "the file holds no header line"),
        (
            &text("fields = \"llrp\"", ""),
            "EPC,AntennaID,FirstSeenTimestampUTC,TagSeenCount\na,1,5,0\n",
            "\"0\" is no number of reads",
        ),
        (&text(columns, "from = \"09:30\"\n"), "epc,port,t\n", "`from` = \"09:30\" is no time"),
        (&text("", ""), "epc,port,t\n", "name the columns"),
        (&usual.replace("\"finish\"", "\"goal\""), "epc,port,t\n", "no point \"goal\" in the scenario"),
        (&usual.replace("\"main\"", "\"middle\""), "epc,port,t\n", "no line \"middle\" in the scenario"),
        (&usual.replace("every_read", "all"), "epc,port,t\n", "choices: every_read, aggregated, first_only"),
        (&usual.replace("port = \"port\", ", ""), "epc,t\n", "ports tell the lines apart"),
    ] {
        std::fs::write(folder.join("log.csv"), log).expect("written");
        let path = folder.join("reads.toml");
        std::fs::write(&path, reads).expect("written");
        let out = folder.join("outcome.toml");
        let (path, write) = (path.to_str().expect("UTF-8"), out.to_str().expect("UTF-8"));
        let done = readodds(&["reads", path, "--write", write]);
        let said = one_line(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{words}: {said}");
        assert!(words.split('|').all(|words| said.contains(words)), "{words}: {said}");
        assert!(done.stdout.is_empty() && !out.exists(), "{words}: half done");
    }
}

/// All problems of a log come at once, the first twenty in full.
#[test]
fn every_bad_row_is_told_or_counted() {
    let folder = folder("many");
    let log: String = "epc,t\n".to_owned() + &"a,late\n".repeat(30);
    std::fs::write(folder.join("log.csv"), log).expect("written");
    let reads = format!(
        "[race]\nname = \"R\"\nscenario = \"{HALF}\"\n[[log]]\nfile = \"log.csv\"\npoint = \"finish\"\ncolumns = {{ tag = \"epc\", time = \"t\" }}\ntime_format = \"unix_ms\"\nkept = \"every_read\"\n[[log.line]]\nname = \"main\"\n"
    );
    let path = folder.join("reads.toml");
    std::fs::write(&path, reads).expect("written");
    let done = readodds(&["reads", path.to_str().expect("UTF-8")]);
    let said = one_line(&done.stderr);
    assert_eq!(said.matches("\"late\" is no time").count(), 20, "{said}");
    assert!(said.contains("10 more rows of this file are wrong"), "{said}");
}
