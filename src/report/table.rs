//! A table: the numbers of a figure, for the page (rounded) and as CSV (full precision).

use super::words::grouped_text;

/// How a column's numbers are shown. CSV always holds the full value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Show {
    /// Number of decimals.
    Fixed(usize),
    /// Significant digits, for values over many decades.
    Digits(usize),
    /// A share shown as a percentage with three significant digits.
    Percent,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Key with its unit, as in the JSON: `miss_rate`, `power_dbm`.
    pub key: String,
    /// Heading with its unit, for people.
    pub heading: String,
    pub show: Show,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    Text(String),
    Number(f64),
    /// Not measured or not applicable.
    Empty,
}

impl From<f64> for Cell {
    fn from(value: f64) -> Cell {
        if value.is_nan() { Cell::Empty } else { Cell::Number(value) }
    }
}
impl From<Option<f64>> for Cell {
    fn from(value: Option<f64>) -> Cell {
        value.map_or(Cell::Empty, Cell::from)
    }
}
impl From<&str> for Cell {
    fn from(text: &str) -> Cell {
        Cell::Text(text.into())
    }
}
impl From<String> for Cell {
    fn from(text: String) -> Cell {
        Cell::Text(text)
    }
}
impl From<u64> for Cell {
    fn from(value: u64) -> Cell {
        Cell::Number(value as f64)
    }
}

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    pub columns: Vec<Column>,
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    /// Columns as (key, heading, show).
    pub fn new(columns: &[(&str, &str, Show)]) -> Table {
        let columns = columns
            .iter()
            .map(|(key, heading, show)| Column {
                key: (*key).into(),
                heading: (*heading).into(),
                show: *show,
            })
            .collect();
        Table { columns, rows: vec![] }
    }
    pub fn row<const N: usize>(&mut self, cells: [Cell; N]) {
        debug_assert_eq!(N, self.columns.len(), "a cell for every column");
        self.rows.push(cells.into());
    }
    /// A cell as people read it.
    pub fn shown(&self, row: usize, column: usize) -> String {
        match &self.rows[row][column] {
            Cell::Text(text) => text.clone(),
            Cell::Empty => "\u{2013}".into(),
            Cell::Number(value) => self.columns[column].show.text(*value),
        }
    }
    pub fn is_number(&self, row: usize, column: usize) -> bool {
        !matches!(self.rows[row][column], Cell::Text(_))
    }
    /// The table as CSV; numbers in the shortest form that reads back to the same value.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let mut out = csv::Writer::from_writer(vec![]);
        out.write_record(self.columns.iter().map(|c| c.key.as_str()))?;
        for row in &self.rows {
            out.write_record(row.iter().map(|cell| match cell {
                Cell::Text(text) => super::visible::cell(text).into_owned(),
                Cell::Number(value) => format!("{value}"),
                Cell::Empty => String::new(),
            }))?;
        }
        let bytes = out.into_inner().map_err(|e| e.into_error())?;
        Ok(String::from_utf8(bytes).expect("CSV of strings is text"))
    }
}

impl Show {
    pub fn text(self, value: f64) -> String {
        let text = match self {
            _ if value.is_infinite() => if value > 0.0 { "no limit" } else { "\u{2212}\u{221e}" }.to_string(),
            Show::Fixed(decimals) => format!("{value:.decimals$}"),
            Show::Digits(digits) => significant(value, digits),
            Show::Percent => format!("{} %", percent_digits(value)),
        };
        grouped_text(&text.replace('-', "\u{2212}"))
    }
}

/// A share in percent with three significant digits; close to all, two digits of what is lacking, and no more than 99.99.
fn percent_digits(share: f64) -> String {
    if share >= 1.0 || share <= 0.99 {
        return significant(100.0 * share, 3);
    }
    if share > 0.9999 {
        return ">99.99".to_owned();
    }
    let decimals = (1 - libm::log10(100.0 * (1.0 - share)).floor() as i64).clamp(1, 4) as usize;
    format!("{:.decimals$}", 100.0 * share).trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// `value` with `digits` significant digits in plain notation.
pub fn significant(value: f64, digits: usize) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let lead = libm::log10(value.abs()).floor() as i64;
    let decimals = (digits as i64 - 1 - lead).clamp(0, 12) as usize;
    format!("{value:.decimals$}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn csv_reads_back_to_the_same_value_and_quotes() {
        let mut table = Table::new(&[("tag", "Tag", Show::Fixed(0)), ("miss_rate", "Missed", Show::Percent)]);
        table.row([Cell::from("a, \"b\""), Cell::from(0.1 + 0.2)]);
        table.row([Cell::from("c"), Cell::from(f64::NAN)]);
        let csv = table.csv().unwrap();
        let mut reader = csv::Reader::from_reader(csv.as_bytes());
        let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
        assert_eq!(&rows[0][0], "a, \"b\"");
        assert_eq!(rows[0][1].parse::<f64>().unwrap().to_bits(), (0.1f64 + 0.2).to_bits());
        assert_eq!(&rows[1][1], "");
    }
    #[test]
    fn shown_numbers_are_rounded_for_people() {
        assert_eq!(Show::Percent.text(0.001234567), "0.123 %");
        assert_eq!(Show::Percent.text(0.999), "99.9 %");
        assert_eq!(Show::Fixed(1).text(-3.06), "\u{2212}3.1");
        assert_eq!(
            [1.0, 0.99997, 0.0, 1.2].map(|v| Show::Percent.text(v)),
            ["100 %", ">99.99 %", "0 %", "120 %"]
        );
        assert_eq!(Show::Digits(3).text(123456.0), "123,456");
        assert_eq!(Show::Fixed(2).text(-1234.5), "\u{2212}1,234.50");
        assert_eq!(Show::Digits(2).text(0.00001234), "0.000012");
    }
}
