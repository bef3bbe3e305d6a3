//! A study in every form it is written in, for the tests that hold the forms against each other.

#[path = "../command/mod.rs"]
mod command;
#[path = "../sample/whole.rs"]
mod whole;

pub use command::{command as readodds, folder};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// Head and rows of a CSV file.
pub fn csv(path: &Path) -> (Vec<String>, Vec<Vec<String>>) {
    let mut reader = csv::Reader::from_path(path).expect("written");
    let head = reader.headers().expect("a head").iter().map(str::to_owned).collect();
    (head, reader.records().map(|r| r.expect("a row").iter().map(str::to_owned).collect()).collect())
}

/// Every number of the CSV whose column the JSON knows is the JSON's to the last bit.
#[allow(dead_code)]
pub fn same_numbers(file: &Path, rows_of_json: &[&Value]) {
    let (head, rows) = csv(file);
    assert_eq!(rows.len(), rows_of_json.len(), "{}", file.display());
    let mut seen = 0;
    for (row, json) in rows.iter().zip(rows_of_json) {
        for (key, cell) in head.iter().zip(row) {
            if let (Some(told), Ok(drawn)) = (json[key.as_str()].as_f64(), cell.parse::<f64>()) {
                assert_eq!(drawn.to_bits(), told.to_bits(), "{key} in {}", file.display());
                seen += 1;
            }
        }
    }
    assert!(seen >= rows.len(), "{}: {seen} numbers compared", file.display());
}

/// A study's JSON, page, text and figures.
pub struct Forms {
    pub json: Value,
    pub page: String,
    pub text: String,
    pub figures: PathBuf,
}

/// Runs a study in every form. No figure may cut a marker or a word, and the page stays small.
pub fn all_forms(name: &str, arguments: &[&str]) -> Forms {
    let folder = folder(name);
    let path = |file: &str| folder.join(file).display().to_string();
    let (page, figures) = (path("page.html"), path("figures"));
    let run = |more: &[&str]| {
        let done = readodds(&[arguments, more].concat()).output().expect("starts");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).expect("text")
    };
    let json = run(&["--format", "json", "--html", &page, "--figures", &figures]);
    let page = std::fs::read_to_string(page).expect("written");
    assert!(page.len() < 2_000_000, "{} bytes", page.len());
    let mut drawn = 0;
    for entry in std::fs::read_dir(&figures).expect("written") {
        let file = entry.expect("readable").path();
        if file.extension().is_some_and(|e| e == "svg") {
            let cut = whole::cut(&std::fs::read_to_string(&file).expect("text"));
            assert!(cut.is_empty(), "{}: {cut:?}", file.display());
            drawn += 1;
        }
    }
    assert_eq!(
        page.matches("<figure ").count(),
        drawn,
        "{name}: every figure is on the page and in the folder"
    );
    let text = run(&[]);
    Forms { json: serde_json::from_str(&json).expect("JSON"), page, text, figures: PathBuf::from(figures) }
}

/// The same words in text and page, whatever the line breaks and the minus sign.
pub fn even(text: &str) -> String {
    text.replace('\u{2212}', "-").replace('\u{a0}', " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Text of a piece of the page.
fn words(html: &str) -> String {
    let mut out = String::new();
    for part in html.split('<') {
        out.push_str(part.split_once('>').map_or(part, |(_, after)| after));
        out.push(' ');
    }
    let signs =
        [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&#x27;", "'"), ("&#x2f;", "/"), ("&amp;", "&")];
    even(&signs.iter().fold(out, |text, (code, sign)| text.replace(code, sign)))
}

impl Forms {
    /// The page's headline and what qualifies it.
    pub fn answer(&self) -> String {
        let start = self.page.find("<h1>").expect("a headline");
        let end = self.page[start..].find("</header>").expect("a head") + start;
        words(&self.page[start..end])
    }
    /// Rows of the page's first table, without its head.
    pub fn first_table(&self) -> Vec<Vec<String>> {
        let start = self.page.find("<tbody>").expect("a table");
        let end = self.page[start..].find("</tbody>").expect("closed") + start;
        let rows = self.page[start..end].split("<tr>").skip(1);
        rows.map(|row| row.split("</t").map(words).filter(|cell| !cell.is_empty()).collect()).collect()
    }
    /// Every number of the page's first table stands in the text, too, on the line that begins with `line(row)`.
    pub fn text_holds_the_table(&self, line: impl Fn(&[String]) -> String) {
        let rows = self.first_table();
        assert!(!rows.is_empty());
        for row in &rows {
            let start = line(row);
            let lines: Vec<String> = self.text.lines().map(even).filter(|l| l.starts_with(&start)).collect();
            assert!(!lines.is_empty(), "no line of the text begins with {start:?}");
            let missing = |l: &String| row.iter().filter(|cell| !l.contains(cell.as_str())).count();
            let best = lines.iter().min_by_key(|l| missing(l)).expect("one line");
            assert_eq!(missing(best), 0, "{row:?} on the page, {best:?} in the text");
        }
    }
    /// Seed, inputs and version of the JSON stand on the page.
    pub fn page_says_where_it_comes_from(&self) {
        for input in self.json["inputs"].as_array().into_iter().flatten() {
            assert!(self.page.contains(input["sha256"].as_str().expect("a hash")));
        }
        if let Some(seed) = self.json["seed"].as_u64() {
            assert!(self.page.contains(&format!("<dt>seed</dt><dd>{seed}</dd>")));
        }
        assert!(self.page.contains(&format!("readodds {}", env!("CARGO_PKG_VERSION"))));
    }
}

/// The rows of several lists of the JSON.
#[allow(dead_code)]
pub fn rows<'a>(lists: &[&'a Value]) -> Vec<&'a Value> {
    lists.iter().flat_map(|list| list.as_array().expect("a list")).collect()
}
