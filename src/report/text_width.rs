//! Widths of text and the breaking of lines, from the advance widths of the fonts in `assets/`.
//!
//! Source: the `hmtx` tables of Open Sans 1.11 Regular and Semibold, printable ASCII, thousandths of the size, read with
//! fonttools. Kerning is left out; other signs count as 0.62 of the size, a wide guess on purpose.

const REGULAR: [u16; 95] = [
    260, 267, 401, 646, 572, 823, 730, 221, 296, 296, 552, 572, 245, 322, 266, 367, 572, 572, 572, 572, 572,
    572, 572, 572, 572, 572, 266, 266, 572, 572, 572, 429, 899, 633, 648, 631, 729, 556, 516, 728, 738, 279,
    267, 614, 519, 903, 754, 779, 602, 779, 618, 549, 553, 728, 595, 926, 577, 560, 571, 329, 367, 329, 542,
    448, 577, 556, 613, 476, 613, 561, 339, 548, 614, 253, 253, 525, 253, 930, 614, 604, 613, 613, 408, 477,
    353, 614, 501, 778, 524, 504, 468, 379, 551, 379, 572,
];
const SEMIBOLD: [u16; 95] = [
    260, 276, 436, 646, 571, 862, 740, 243, 317, 317, 548, 571, 267, 322, 275, 390, 571, 571, 571, 571, 571,
    571, 571, 571, 571, 571, 275, 278, 571, 571, 571, 453, 898, 661, 660, 634, 734, 558, 532, 726, 751, 305,
    299, 639, 542, 923, 783, 787, 615, 787, 639, 550, 566, 742, 622, 946, 622, 592, 575, 330, 390, 330, 537,
    429, 592, 580, 623, 495, 623, 576, 363, 556, 635, 279, 279, 572, 279, 956, 635, 611, 623, 623, 431, 487,
    393, 635, 535, 817, 551, 536, 478, 386, 551, 371, 571,
];
/// Width in px of `text` at `size_px`.
pub fn width_px(text: &str, size_px: f64, bold: bool) -> f64 {
    let table = if bold { &SEMIBOLD } else { &REGULAR };
    let thousandths: u32 = text
        .chars()
        .map(|c| match c {
            ' '..='~' => u32::from(table[c as usize - 32]),
            '\u{2009}' => 200,
            '\u{b7}' => 270,
            '\u{2013}' => 500,
            '\u{2014}' => 1000,
            _ => 620,
        })
        .sum();
    f64::from(thousandths) * size_px / 1000.0
}

/// Breaks `text` at spaces into lines of at most `limit_px`; a longer word stands alone.
pub fn wrap(text: &str, size_px: f64, bold: bool, limit_px: f64) -> Vec<String> {
    let mut lines: Vec<String> = vec![];
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if width_px(&format!("{line} {word}"), size_px, bold) <= limit_px => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_string()),
        }
    }
    lines
}

/// `text`, cut with an ellipsis when wider than `limit_px`.
pub fn fit(text: &str, size_px: f64, bold: bool, limit_px: f64) -> String {
    if width_px(text, size_px, bold) <= limit_px {
        return text.to_string();
    }
    let mut kept = text.to_string();
    while kept.pop().is_some() {
        let cut = format!("{}\u{2026}", kept.trim_end());
        if width_px(&cut, size_px, bold) <= limit_px {
            return cut;
        }
    }
    String::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_stay_within_the_limit_and_lose_no_word() {
        let text = "Of 6000 runners in rain, about 31 leave no read at the finish, most of them soaked and sideways.";
        let lines = wrap(text, 15.0, true, 300.0);
        assert!(lines.len() > 1 && lines.iter().all(|l| width_px(l, 15.0, true) <= 300.0));
        assert_eq!(lines.join(" "), text);
        assert_eq!(wrap("unbreakableunbreakable", 15.0, false, 20.0).len(), 1);
    }
    #[test]
    fn long_names_are_cut() {
        assert_eq!(fit("short", 12.0, false, 100.0), "short");
        let cut = fit("a very long name of a tag that will not fit", 12.0, false, 80.0);
        assert!(cut.ends_with('\u{2026}') && width_px(&cut, 12.0, false) <= 80.0);
    }
}
