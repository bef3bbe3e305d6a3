//! Learning from races and trials: what must hold whatever was counted, and what is refused.

mod command;

use command::{folder, json, one_line, readodds, said};
use readodds::learn::evidence::Evidence;
use readodds::learn::posterior::{Posterior, learn};
use readodds::outcome::{Outcome, race, trial};
use readodds::passing::{Prepared, prepare};
use readodds::study::learn::{Given, Plan, evidence};
use std::path::{Path, PathBuf};
use std::sync::Arc;

const SCENARIO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios/smallest.toml");
const DRAWS: u64 = 64;

fn write(folder: &Path, name: &str, text: &str) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, text).expect("written");
    path
}

fn counted(name: &str, passed: u64, missed: &str) -> String {
    format!(
        "# Invented.\n[race]\nname = \"{name}\"\nscenario = \"{SCENARIO}\"\n[[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\npassed = {passed}\nmissed = {missed}\n"
    )
}

fn prepared(scenario: &str, race_effect_db: f64) -> Arc<Prepared> {
    let (course, _) = readodds::course::load(Path::new(scenario)).expect("a scenario");
    let (mut tag, _) = readodds::tag::load(&course.tag_folder).expect("a tag");
    tag.spread.race_effect_db = race_effect_db;
    Arc::new(prepare(Arc::new(course), Arc::new(tag)))
}

fn outcome(folder: &Path, name: &str, text: &str) -> Outcome {
    race::load(&write(folder, name, text)).expect("a sound outcome").0
}

fn learned(outcomes: Vec<Outcome>, prepared: &Arc<Prepared>) -> Posterior {
    let given: Vec<Given> = outcomes
        .into_iter()
        .map(|outcome| {
            let trial = outcome.trial.as_ref().map(|file| trial::load(file).expect("a sound trial").0);
            Given { outcome, trial, prepared: prepared.clone(), full_power: prepared.clone() }
        })
        .collect();
    let plan = Plan { seed: 3, groups: DRAWS, passings_per_world: 48 };
    let evidence: Evidence = evidence(&given, &plan).expect("evidence");
    learn(&evidence, plan.seed, DRAWS, &|| false, &mut |_| {}).expect("not interrupted")
}

/// "Between none and all were missed" is no news: every weight stays as it was.
#[test]
fn a_count_that_says_nothing_teaches_nothing() {
    let folder = folder("nothing");
    let all = outcome(&folder, "all.toml", &counted("A", 900, "{ min = 0, max = 900 }"));
    let posterior = learned(vec![all], &prepared(SCENARIO, 0.7));
    assert_eq!(posterior.points.len() as u64, DRAWS);
    assert!((posterior.effective - DRAWS as f64).abs() < 1e-6, "{}", posterior.effective);
    for (after, before) in
        posterior.vector_weights(None).concat().iter().zip(posterior.prior_weights().concat())
    {
        assert!((after / before - 1.0).abs() < 1e-6);
    }
}

#[test]
fn the_order_of_races_changes_nothing() {
    let folder = folder("order");
    let prepared = prepared(SCENARIO, 0.7);
    let race =
        |name: &str, missed: &str| outcome(&folder, &format!("{name}.toml"), &counted(name, 800, missed));
    let (a, b) = (race("a", "9"), race("b", "31"));
    let one = learned(vec![a.clone(), b.clone()], &prepared);
    let other = learned(vec![b, a], &prepared);
    assert_eq!(one.points, other.points);
    for (x, y) in one.weights.iter().zip(&other.weights) {
        assert!((x - y).abs() < 1e-12, "{x} {y}");
    }
}

/// Pinning nothing but the counts: more missed runners push the thresholds that are believed up, and a race that was counted is foreseen better.
#[test]
fn thresholds_follow_what_was_counted() {
    let folder = folder("follow");
    let prepared = prepared(SCENARIO, 0.3);
    let mean_bias = |missed: &str| {
        let race = outcome(&folder, &format!("{missed}.toml"), &counted(missed, 900, missed));
        let posterior = learned(vec![race], &prepared);
        let weights = posterior.vector_weights(None);
        let of = |(group, weights): (usize, &Vec<f64>)| -> f64 {
            // The laboratory's bias is dimension 8.
            posterior.vectors(group).iter().zip(weights).map(|(v, w)| w * v[8]).sum()
        };
        weights.iter().enumerate().map(of).sum::<f64>()
    };
    let (few, many) = (mean_bias("2"), mean_bias("60"));
    assert!(few < 0.5 && many > 0.5 && many - few > 0.1, "{few} {many}");
}

/// Source: a lowered setting of a monostatic reader lowers the power at the tag by as much; as long as every reply is heard, that is a threshold raised as much
/// (the power balance of the forward link, elementary). Tolerance: 1e-6 relative, of single-precision tables.
#[test]
fn val_a_drop_is_a_raised_threshold() {
    use readodds::estimate::response::response;
    use readodds::estimate::strata::strata;
    use readodds::estimate::tilt::Tilt;
    use readodds::estimate::world::Ask;
    let folder = folder("drop");
    let text = std::fs::read_to_string(SCENARIO).expect("a scenario");
    // A reader that hears everything.
    let text = text
        .replace("../demo-data", concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data"))
        .replace("[[point.line.reader]]", "[[point.line.reader]]\nsensitivity_dbm = -120.0");
    let prepared = prepared(write(&folder, "hears-all.toml", &text).to_str().expect("UTF-8"), 0.0);
    let allocation = vec![8; strata(&prepared.course).len()];
    let ask = Ask { seed: 5, masks: vec![vec![1]], allocation, tilt: Tilt::default() };
    let worlds = [(0, ask.world_point(&prepared, 0).0)];
    // The sets over all points are left to other tests.
    let table = |prepared: &Prepared| response(prepared, &ask, &worlds, 10.0, &|| false).expect("a table");
    let (full, lowered) = (table(&prepared), table(&prepared.lowered(1.6, false)));
    let mut compared = 0;
    for stratum in 0..full.strata.len() {
        let (a, b) = (full.odds(0, 0, stratum), lowered.odds(0, 0, stratum));
        for k in 20..a.len() - 28 {
            // Eight steps of 0.2 dB.
            let (raised, dropped) = (f64::from(a[k + 8]), f64::from(b[k]));
            compared += usize::from(raised > 0.01 && raised < 0.99);
            assert!((raised - dropped).abs() < 1e-6 + 1e-5 * raised, "{stratum} {k}: {raised} {dropped}");
        }
    }
    assert!(compared > 20, "{compared}");
}

/// The folder goes from `learn` to the other commands: the same numbers, and its ties are kept.
#[test]
fn a_learned_folder_is_used_and_kept_to_its_ties() {
    let folder = folder("ties");
    let first = write(&folder, "first.toml", &counted("First", 900, "40"));
    let second = write(&folder, "second.toml", &counted("Second", 700, "25"));
    let beliefs = folder.join("learned");
    let learned = beliefs.to_str().expect("UTF-8");
    let files = [first.to_str().expect("UTF-8"), second.to_str().expect("UTF-8")];
    let few = ["--draws", "64", "--passings", "48"];
    let done = readodds(
        &[&["learn", files[0], files[1], "--write", learned, "--format", "json"], &few[..]].concat(),
    );
    assert!(matches!(done.status.code(), Some(0 | 1)), "{}", said(&done));
    let answer = json(&done);
    let forecast = readodds(&["predict", SCENARIO, "--learned", learned, "--format", "json"]);
    assert_eq!(forecast.status.code(), Some(0), "{}", said(&forecast));
    let forecast = json(&forecast);
    assert_eq!(answer["targets"][0]["after"]["mean"], forecast["points"][0]["miss_rate"]["value"]);
    assert!(forecast["learned_from"].as_str().expect("words").contains("First, Second"));
    // Without it: what `learn` calls "before".
    let plain = readodds(&["predict", SCENARIO, "--format", "json"]);
    let plain = json(&plain);
    assert_eq!(answer["targets"][0]["before"]["mean"], plain["points"][0]["miss_rate"]["value"]);
    assert_ne!(plain["points"][0]["miss_rate"]["value"], forecast["points"][0]["miss_rate"]["value"]);
    // Why not to believe it goes with it.
    let doubt = "The weights rest on";
    let said_again = forecast["learned_from"].as_str().expect("words").contains(doubt);
    assert_eq!(said_again, answer["trusted"] == false, "{}", forecast["learned_from"]);
    // Another tag keeps its own; other beliefs, and vectors changed by hand, are refused.
    let other = readodds(&["predict", SCENARIO, "--tag", "demo-data/tags/elm", "--learned", learned]);
    assert_eq!(other.status.code(), Some(0));
    assert!(said(&other).contains("what belongs to a tag stays"), "{}", said(&other));
    let text = std::fs::read_to_string(SCENARIO).expect("a scenario");
    let text = text.replace("../demo-data", concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data"));
    let changed = write(&folder, "changed.toml", &(text + "[beliefs]\nbody_loss_db = 1.0\n"));
    let refused = readodds(&["predict", changed.to_str().expect("UTF-8"), "--learned", learned]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused).contains("are not those it was learned under"), "{}", said(&refused));
    let vectors = beliefs.join("learned.csv");
    let edited = std::fs::read_to_string(&vectors).expect("vectors").replacen("0.0", "0.1", 1);
    std::fs::write(&vectors, edited).expect("written");
    let refused = readodds(&["drivers", SCENARIO, "--learned", learned]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused).contains("not those that learned.toml was written with"), "{}", said(&refused));
    let explain = readodds(&["explain", SCENARIO, "--learned", learned]);
    assert_eq!(explain.status.code(), Some(2));
}

/// A count that these beliefs cannot produce is told, with exit code 1.
#[test]
fn a_count_outside_the_beliefs_is_told() {
    let folder = folder("outside");
    let race = write(&folder, "outage.toml", &counted("Outage day", 900, "700"));
    let done = readodds(&["learn", race.to_str().expect("UTF-8"), "--draws", "64", "--passings", "48"]);
    assert_eq!(done.status.code(), Some(1), "{}", said(&done));
    let text = one_line(&done.stdout);
    assert!(
        text.contains(
            "THESE BELIEFS HARDLY PRODUCE THESE COUNTS. Furthest off: Outage day, 700 of 900 missed"
        ),
        "{text}"
    );
    assert!(text.contains("outside the beliefs"), "{text}");
}

/// Who was missed tells the reason: misses nearly all on the back are not what was learned; a sample unlike the scenario's shares is told too.
#[test]
fn a_right_count_for_a_wrong_reason_is_told() {
    let folder = folder("reason");
    let learn = |name: &str, text: String| -> serde_json::Value {
        let path = write(&folder, &format!("{name}.toml"), &text).display().to_string();
        let done = readodds(&["learn", &path, "--draws", "128", "--passings", "96", "--format", "json"]);
        assert!(matches!(done.status.code(), Some(0 | 1)), "{}", said(&done));
        json(&done)
    };
    let verdict = |answer: &serde_json::Value, words: &str| -> String {
        let causes = answer["sources"][0]["causes"].as_array().expect("questions");
        let asked = causes.iter().find(|c| c["question"].as_str().is_some_and(|q| q.contains(words)));
        asked.expect("the question")["foreseen"]["verdict"].as_str().expect("a verdict").to_owned()
    };
    let sample = "sample_were = { front_high = 156, front_low = 28, side = 6, back = 4, covered = 6 }\n";
    let worn = |were: &str| format!("{}missed_were = {were}\n{sample}", counted("Worn", 900, "30"));
    let backs = learn("backs", worn("{ back = 28, side = 2 }"));
    assert_eq!(verdict(&backs, "missed, on the back"), "outside");
    assert_eq!(verdict(&backs, "of a chance sample, on the back"), "in_line");
    let many = worn("{ front_high = 15 }").replace("back = 4", "back = 90");
    assert_eq!(verdict(&learn("many", many), "of a chance sample, on the back"), "outside");
}

/// A wrong model is told, not absorbed: one tag in a hundred dead, in four races, is missed by both lines alike, which no belief makes.
#[test]
fn dead_tags_are_told() {
    let folder = folder("dead");
    let half = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/scenarios/half-marathon-rain-eu-lower.toml"
    ));
    let half =
        half.expect("a scenario").replace("../demo-data", concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data"));
    // The finish alone: its two lines are asked about.
    let (splits, finish) =
        (half.find("[[point]]").expect("points"), half.rfind("[[point]]").expect("points"));
    let scenario = write(&folder, "finish.toml", &(half[..splits].to_owned() + &half[finish..]));
    let learn = |of_100_dead: u64| -> (Option<i32>, serde_json::Value) {
        // Both, main only, backup only, none: the invented seasons of demo-data/outcomes.
        let races = [(2711, 24, 33, 32), (2927, 26, 24, 23), (3120, 30, 25, 25), (2592, 2, 3, 3)];
        let outcomes: Vec<String> = races
            .iter()
            .enumerate()
            .map(|(race, (both, main, backup, none))| {
                let dead = both * of_100_dead / 100;
                let pattern = |read: &str, count: u64| {
                    format!("[[point.pattern]]\nread = [{read}]\ncount = {count}\n")
                };
                let text = format!(
                    "# Invented.\n[race]\nname = \"Race {race}\"\nscenario = \"{}\"\n[[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\n",
                    scenario.display()
                ) + &pattern("\"main\", \"backup\"", both - dead)
                    + &pattern("\"main\"", *main)
                    + &pattern("\"backup\"", *backup)
                    + &pattern("", none + dead);
                write(&folder, &format!("{of_100_dead}-{race}.toml"), &text).display().to_string()
            })
            .collect();
        let outcomes: Vec<&str> = outcomes.iter().map(String::as_str).collect();
        let few = ["--draws", "64", "--passings", "48", "--format", "json"];
        let done = readodds(&[&["learn"], &outcomes[..], &few[..]].concat());
        (done.status.code(), json(&done))
    };
    // Counts and patterns that were not foreseen.
    let outside = |answer: &serde_json::Value| {
        let sources = answer["sources"].as_array().expect("sources");
        let of = |s: &serde_json::Value| -> usize {
            let causes = s["causes"].as_array().expect("causes").iter();
            let all = causes.map(|c| &c["foreseen"]["verdict"]).chain([&s["before"]["verdict"]]);
            all.filter(|verdict| **verdict == "outside").count()
        };
        sources.iter().map(of).sum::<usize>()
    };
    let (_, alive) = learn(0);
    assert_eq!(outside(&alive), 0, "{}", alive["sources"]);
    let (code, dead) = learn(1);
    assert_eq!((code, &dead["trusted"]), (Some(1), &serde_json::Value::Bool(false)));
    assert!(outside(&dead) >= 1, "{}", dead["sources"]);
    let number = |answer: &serde_json::Value, key: &str| answer[key].as_f64().expect("a number");
    assert!(number(&dead, "effective_groups") < 3.0 && number(&dead, "k_hat") > 1.0, "{}", dead["k_hat"]);
    assert!(number(&alive, "effective_groups") > number(&dead, "effective_groups"));
}

/// Every wrong outcome is refused with its place and a way out; nothing is written.
#[test]
fn wrong_outcomes_are_refused() {
    let folder = folder("wrong");
    let half = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios/half-marathon-rain-eu-lower.toml");
    let point = |rest: &str| {
        format!("[race]\nname = \"R\"\nscenario = \"{half}\"\n[[point]]\nname = \"finish\"\n{rest}")
    };
    let lines = "[[point.pattern]]\nread = [\"main\"]\ncount = 30\n[[point.pattern]]\nread = [\"main\", \"backup\"]\ncount = 3960\n";
    let trial_file = write(&folder, "belt.csv", "placement,wetness,drop_db,read\nbelt,dry,0,1\n");
    let trial =
        format!("[trial]\nname = \"T\"\nscenario = \"{half}\"\nfile = \"{}\"\n", trial_file.display());
    for (name, text, words) in [
        (
            "lines",
            point(&format!("reference = \"everyone_filmed\"\n{lines}")),
            "lines alone cannot tell how many all of them missed",
        ),
        (
            "two",
            point("reference = \"other_line\"\npassed = 3000\nmissed = 4\n"),
            "two lines alone cannot tell how many both missed",
        ),
        (
            "sum",
            point("reference = \"bibs_searched\"\npassed = 30\nmissed = { min = 3, max = 31 }\n"),
            "3 to 31 missed of 30 who passed",
        ),
        ("none", point("passed = 30\nmissed = 3\n"), "say how those who passed are known"),
        ("word", point("reference = \"filmed\"\npassed = 30\nmissed = 3\n"), "choices: everyone_filmed"),
        (
            "place",
            point("reference = \"everyone_filmed\"\npassed = 30\nmissed = 3\n")
                .replace("\"finish\"", "\"12 km\""),
            "no point \"12 km\" in the scenario",
        ),
        (
            "weather",
            point("reference = \"everyone_filmed\"\npassed = 30\nmissed = 3\n")
                .replace("[[point]]", "weather_seen = \"dry\"\n[[point]]"),
            "the race saw dry, its scenario is for rain",
        ),
        ("key", point("reference = \"everyone_filmed\"\npassed = 30\nmised = 3\n"), "did you mean `missed`?"),
        (
            "alone",
            point("reference = \"everyone_filmed\"\npassed = 30\nmissed = 3\nmissed_were = { side = 2 }\n"),
            "beside those missed give a chance sample of all runners",
        ),
        (
            "many",
            point(
                "reference = \"everyone_filmed\"\npassed = 30\nmissed = 3\nmissed_were = { side = 4 }\nsample_were = { side = 9 }\n",
            ),
            "4 missed runners are described, 3 were missed",
        ),
        (
            "some",
            point(
                "reference = \"other_line\"\nline = \"main\"\nby_line = \"backup\"\npassed = 30\nmissed = 3\nmissed_were = { side = 2 }\nsample_were = { side = 9 }\n",
            ),
            "this point counts only some",
        ),
        (
            "worn",
            point(
                "reference = \"everyone_filmed\"\npassed = 30\nmissed = 3\nmissed_were = { ankle = 2 }\nsample_were = { side = 9 }\n",
            ),
            "`ankle`",
        ),
        ("trial", trial, "no placement \"belt\""),
        ("empty", String::new(), "the file is empty"),
        ("neither", format!("name = \"{half}\"\n"), "one of [race] and [trial] is needed"),
    ] {
        let path = write(&folder, &format!("{name}.toml"), &text);
        let out = folder.join(format!("{name}-learned"));
        let done =
            readodds(&["learn", path.to_str().expect("UTF-8"), "--write", out.to_str().expect("UTF-8")]);
        assert_eq!(done.status.code(), Some(2), "{name}: {}", said(&done));
        assert!(said(&done).contains(words), "{name}: {}", said(&done));
        assert!(!out.exists(), "{name}");
    }
    let race = write(&folder, "same.toml", &counted("Same", 900, "9"));
    let copy = write(&folder, "copy.toml", &counted("Same", 900, "9"));
    let twice = readodds(&["learn", race.to_str().expect("UTF-8"), copy.to_str().expect("UTF-8")]);
    assert_eq!(twice.status.code(), Some(2));
    assert!(said(&twice).contains("nothing is learned twice from one race"), "{}", said(&twice));
}

/// A forecast stored before the race is scored by its count; one of another scenario, or none, is refused.
#[test]
fn stored_forecasts_are_scored() {
    let folder = folder("score");
    let stored = folder.join("forecast.json");
    let stored = stored.to_str().expect("UTF-8");
    let done = readodds(&["predict", SCENARIO, "--worlds", "64", "--format", "json", "--out", stored]);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    let with = |name: &str, missed: &str, forecast: &str| {
        let text =
            counted(name, 880, missed).replace("[[point]]", &format!("forecast = \"{forecast}\"\n[[point]]"));
        write(&folder, &format!("{name}.toml"), &text).to_str().expect("UTF-8").to_owned()
    };
    let (first, second) = (with("first", "20", stored), with("second", "{ min = 17, max = 19 }", stored));
    let done = readodds(&["score", &first, &second, "--format", "json"]);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    let answer = json(&done);
    let scored = answer["scored"].as_array().expect("a list");
    assert_eq!(scored.len(), 2);
    // The forecast's own list of probabilities, thinned to 880 of 900 runners, gives the score.
    let forecast = std::fs::read_to_string(stored).expect("there");
    let forecast: serde_json::Value = serde_json::from_str(&forecast).expect("JSON");
    let list: Vec<f64> = forecast["points"][0]["missed"]["distribution"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|p| p.as_f64().expect("a number"))
        .collect();
    let share: f64 = 880.0 / 900.0;
    let thinned = |x: usize| -> f64 {
        let pmf = |all: usize| readodds::numeric::counts::binomial_pmf(x as u64, all as u64, share);
        (x..list.len()).map(|all| list[all] * pmf(all)).sum()
    };
    let score = scored[0]["log_score"].as_f64().expect("a number");
    assert!((score + thinned(20).ln()).abs() < 1e-9, "{score}");
    let range = scored[1]["log_score"].as_f64().expect("a number");
    assert!((range + (thinned(17) + thinned(18) + thinned(19)).ln()).abs() < 1e-9, "{range}");
    assert!(scored[0]["log_score_of_counts"].is_null() && scored[1]["log_score_of_counts"].is_number());
    let text = readodds(&["score", &first, &second]);
    let text = one_line(&text.stdout);
    assert!(text.contains("Too few races (2 of 10) to tell"), "{text}");
    // The forecast without what was learned, stored beside it: here the same one, so neither is ahead.
    let beside = std::fs::read_to_string(&first).expect("there");
    let line = format!("unlearned_forecast = \"{stored}\"\n[[point]]");
    let beside = write(&folder, "beside.toml", &beside.replace("[[point]]", &line)).display().to_string();
    let done = readodds(&["score", &beside, "--format", "json"]);
    let answer = json(&done);
    assert_eq!(answer["ahead_of_unlearned"], 0.0, "{}", said(&done));
    assert_eq!(answer["inputs"].as_array().map(Vec::len), Some(2));
    let none = write(&folder, "none.toml", &counted("none", 880, "9")).display().to_string();
    let broken = write(&folder, "broken.json", "{}").display().to_string();
    for (outcome, words) in
        [(none, "no forecast is named"), (with("other", "9", &broken), "this is no forecast")]
    {
        let refused = readodds(&["score", &outcome]);
        assert_eq!(refused.status.code(), Some(2), "{outcome}");
        assert!(said(&refused).contains(words), "{outcome}: {}", said(&refused));
    }
    let trail = "scenarios/trail-soaked-one-mat.toml";
    let other = readodds(&["predict", trail, "--worlds", "4", "--format", "json", "--out", stored]);
    assert_eq!(other.status.code(), Some(0), "{}", said(&other));
    let refused = readodds(&["score", &first]);
    assert!(said(&refused).contains("was not made from"), "{}", said(&refused));
}
