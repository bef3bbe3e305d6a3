//! Touchstone version 1 files of one-port and two-port S-parameters.
//!
//! `!` starts a comment. One option line `# unit parameter format R ohm` (any order, any case; defaults GHz, S, MA,
//! 50 ohm); units Hz, kHz, MHz, GHz; formats MA (magnitude, degrees), DB (20·log10 magnitude, degrees), RI.
//! Data lines: frequency, then S11, or S11 S21 S12 S22 in this order; frequencies increase. In a two-port
//! file a falling frequency opens the noise data: they have no place in a cable's file and are refused.
//! Source: IBIS Open Forum, Touchstone File Format Specification, Rev. 1.1, 2002.

use super::problems::Problems;
use crate::diag::{Checked, Diagnostic, Source};
use num_complex::Complex64;
use std::ops::Range;
use std::sync::Arc;

/// S-parameters over frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct Touchstone {
    pub ports: usize,
    pub reference_ohm: f64,
    pub freq_mhz: Vec<f64>,
    /// S11, or S11, S21, S12, S22, per frequency.
    pub s: Vec<Vec<Complex64>>,
}

#[derive(Clone, Copy)]
enum Format {
    MagnitudeAngle,
    DecibelAngle,
    RealImaginary,
}

/// Number of ports a file name promises (`.s1p`, `.s2p`).
pub fn ports_of(name: &str) -> Option<usize> {
    let name = name.to_ascii_lowercase();
    [(".s1p", 1), (".s2p", 2)].into_iter().find(|(end, _)| name.ends_with(end)).map(|(_, ports)| ports)
}

struct Options {
    to_mhz: f64,
    format: Format,
    reference_ohm: f64,
}

/// Reads the text of a file with `ports` (1 or 2) ports.
pub fn read(source: &Arc<Source>, ports: usize) -> Checked<Touchstone> {
    let mut problems = Problems::new(source);
    let mut options: Option<Options> = None;
    let (mut freq_mhz, mut s) = (Vec::<f64>::new(), Vec::new());
    let width = 1 + 2 * ports * ports;
    let mut start = 0;
    for line in source.text.split_inclusive(['\n', '\r']) {
        let place = start..start + line.trim_end().len();
        start += line.len();
        let data = line.split('!').next().unwrap_or("").trim();
        if data.is_empty() {
            continue;
        }
        let wrong = |message: String, problems: &mut Problems| {
            problems.error(|| Diagnostic::error("touchstone", message).at(source, place.clone()));
        };
        if data.starts_with('[') {
            problems.error(|| {
                Diagnostic::error("touchstone", format!("keyword {data}: this is a version 2 file"))
                    .at(source, place.clone())
                    .help("save it as Touchstone version 1 (.s1p or .s2p)")
            });
            return problems.finish(empty(ports));
        }
        if let Some(rest) = data.strip_prefix('#') {
            // Further option lines are to be ignored (Rev. 1.1, option line).
            if options.is_none() {
                options = option_line(source, rest, &place, &mut problems);
                if options.is_none() {
                    return problems.finish(empty(ports));
                }
            }
            continue;
        }
        let Some(options) = &options else {
            wrong("numbers before the option line `# GHz S MA R 50`".into(), &mut problems);
            return problems.finish(empty(ports));
        };
        let numbers: Result<Vec<f64>, &str> = data
            .split_whitespace()
            .map(|t| t.parse::<f64>().ok().filter(|v| v.is_finite()).ok_or(t))
            .collect();
        match numbers {
            Err(token) => wrong(format!("expected a number, but found {token:?}"), &mut problems),
            Ok(values) => {
                let freq = values[0] * options.to_mhz;
                if ports == 2 && freq_mhz.last().is_some_and(|last| freq <= *last) && values.len() == 5 {
                    problems.error(|| {
                        Diagnostic::error("touchstone", "noise data begin here")
                            .at(source, place.clone())
                            .help("noise data have no place in a correction: delete these lines")
                    });
                    return problems.finish(empty(ports));
                }
                if values.len() != width {
                    wrong(
                        format!("{} numbers, a {ports}-port line has {width}", values.len()),
                        &mut problems,
                    );
                } else if freq_mhz.last().is_some_and(|last| freq <= *last) {
                    wrong(format!("frequency {} does not increase", values[0]), &mut problems);
                } else if let Some(below) = options.negative_magnitude(&values[1..]) {
                    wrong(
                        format!("magnitude {below} is negative: are these decibels (option DB)?"),
                        &mut problems,
                    );
                } else {
                    freq_mhz.push(freq);
                    s.push(values[1..].chunks(2).map(|pair| complex(options.format, pair)).collect());
                }
            }
        }
    }
    if freq_mhz.is_empty() && !problems.has_errors() {
        problems.error(|| Diagnostic::error("touchstone", "no data lines").in_file(source));
    }
    let reference_ohm = options.map_or(50.0, |o| o.reference_ohm);
    problems.finish(Touchstone { ports, reference_ohm, freq_mhz, s })
}

impl Options {
    fn negative_magnitude(&self, pairs: &[f64]) -> Option<f64> {
        let polar = matches!(self.format, Format::MagnitudeAngle);
        pairs.iter().step_by(2).copied().find(|value| polar && *value < 0.0)
    }
}

fn empty(ports: usize) -> Touchstone {
    Touchstone { ports, reference_ohm: 50.0, freq_mhz: Vec::new(), s: Vec::new() }
}

fn complex(format: Format, pair: &[f64]) -> Complex64 {
    let angle = pair[1].to_radians();
    let polar = |r: f64| Complex64::new(r * libm::cos(angle), r * libm::sin(angle));
    match format {
        Format::MagnitudeAngle => polar(pair[0]),
        Format::DecibelAngle => polar(crate::units::db_to_amplitude_ratio(pair[0])),
        Format::RealImaginary => Complex64::new(pair[0], pair[1]),
    }
}

fn option_line(
    source: &Arc<Source>,
    rest: &str,
    place: &Range<usize>,
    problems: &mut Problems,
) -> Option<Options> {
    let mut options = Options { to_mhz: 1e3, format: Format::MagnitudeAngle, reference_ohm: 50.0 };
    let mut words = rest.split_whitespace();
    while let Some(word) = words.next() {
        match word.to_ascii_lowercase().as_str() {
            "hz" => options.to_mhz = 1e-6,
            "khz" => options.to_mhz = 1e-3,
            "mhz" => options.to_mhz = 1.0,
            "ghz" => options.to_mhz = 1e3,
            "s" => {}
            "ma" => options.format = Format::MagnitudeAngle,
            "db" => options.format = Format::DecibelAngle,
            "ri" => options.format = Format::RealImaginary,
            "r" => {
                match words.next().and_then(|w| w.parse::<f64>().ok()).filter(|r| *r > 0.0 && r.is_finite()) {
                    Some(ohm) => options.reference_ohm = ohm,
                    None => {
                        problems.error(|| {
                            Diagnostic::error("touchstone", "R needs a resistance in ohm")
                                .at(source, place.clone())
                        });
                        return None;
                    }
                }
            }
            other => {
                problems.error(|| {
                    let found = Diagnostic::error("touchstone", format!("option `{word}` is not understood"))
                        .at(source, place.clone());
                    match other {
                        "y" | "z" | "g" | "h" => found.help("only S-parameters are read: export S"),
                        _ => found.help("an option line reads `# GHz S MA R 50`"),
                    }
                });
                return None;
            }
        }
    }
    Some(options)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ok(text: &str, ports: usize) -> Touchstone {
        read(&Source::new("t.snp", text), ports).expect("readable").0
    }
    fn place(text: &str, ports: usize) -> String {
        read(&Source::new("t.snp", text), ports).expect_err("refused")[0].place().expect("placed")
    }

    /// Source: IBIS Open Forum, Touchstone File Format Specification Rev. 1.1 (2002), example 1 (MA), the same point
    /// in DB (example 1a), and example 4 (two-port, RI). Tolerance: the printed digits.
    #[test]
    fn val_specification_examples() {
        let one = ok(
            "!1-port S-parameter file, single frequency point\n# MHz S MA R 50\n!freq magS11 angS11\n2.000 0.894 -12.136\n",
            1,
        );
        assert_eq!(one.freq_mhz, [2.0]);
        let s11 = one.s[0][0];
        assert!((s11.norm() - 0.894).abs() < 1e-12 && (s11.arg().to_degrees() + 12.136).abs() < 1e-9);
        let db = ok("# MHz S DB R 50\n2.000 -0.97 -12.136\n", 1);
        assert!((db.s[0][0] - s11).norm() < 1e-3);
        let two = ok(
            "!2-port S-parameter file, three frequency points\n# GHz S RI R 50.0\n\
             !freq RelS11 ImS11 ReS21 ImS21 ReS12 ImS12 ReS22 ImS22\n\
             1.0000 0.3926 -0.1211 -0.0003 -0.0021 -0.0003 -0.0021 0.3926 -0.1211\n\
             2.0000 0.3517 -0.3054 -0.0096 -0.0298 -0.0096 -0.0298 0.3517 -0.3054\n\
             10.000 0.3419 0.3336 -0.0134 0.0379 -0.0134 0.0379 0.3419 0.3336\n",
            2,
        );
        assert_eq!((two.freq_mhz.clone(), two.reference_ohm), (vec![1e3, 2e3, 1e4], 50.0));
        assert_eq!(two.s[1][1], Complex64::new(-0.0096, -0.0298));
    }

    /// Source: as above, example 8: a two-port file whose noise data begin in line 5. Refused here. Tolerance: none.
    #[test]
    fn val_noise_data_are_refused() {
        let text = "!2-port network, S-parameter and noise data\n# GHZ S MA R 50\n\
                    2 .95 -26 3.57 157 .04 76 .66 -14\n22 .60 -144 1.30 40 .14 40 .56 -85\n\
                    4 .7 .64 69 .38\n18 2.7 .46 -33 .40\n";
        assert_eq!(place(text, 2), "t.snp:5:1");
    }

    #[test]
    fn bad_lines_are_placed() {
        assert_eq!(place("# MHz Z MA R 75\n100 0.99 -4\n", 1), "t.snp:1:1");
        assert_eq!(place("# MHz S MA R 0\n100 0.99 -4\n", 1), "t.snp:1:1");
        assert_eq!(place("100 0.99 -4\n", 1), "t.snp:1:1");
        assert_eq!(place("# MHz\n100 0.99\n", 1), "t.snp:2:1");
        assert_eq!(place("# MHz\n100 0.99 0\n100 0.9 0\n", 1), "t.snp:3:1");
        assert_eq!(place("# MHz\n100 nan 0\n", 1), "t.snp:2:1");
        assert_eq!(place("[Version] 2.0\n", 1), "t.snp:1:1");
        assert_eq!((ports_of("cable.S2P"), ports_of("cable.csv")), (Some(2), None));
    }
}
