//! The spread of production said in words, with the number behind every word.

use super::few::{SpreadSummary, prior_agrees, samples_to_halve, spread_summary};

/// Below these odds the words doubt the prior.
const PRIOR_DOUBT: f64 = 0.05;

/// Sentences about the production spread from one value per sample: what is known, what the prior did, what more samples
/// would bring. `unit` is "dB" or "MHz"; arguments as in `spread_summary`. Empty without a sample.
pub fn spread_sentences(values: &[f64], prior_scale: f64, level: f64, unit: &str) -> Vec<String> {
    let Some(s) = spread_summary(values, prior_scale, level) else {
        return Vec::new();
    };
    let percent = 100.0 * level;
    let count = match s.samples {
        1 => "1 sample".to_string(),
        n => format!("{n} samples"),
    };
    let mut said = vec![format!(
        "With {count} the production spread is {:.1} to {:.1} {unit} ({percent:.0} % odds, best guess {:.1}).",
        s.sigma.low, s.sigma.high, s.sigma_median
    )];
    said.push(match s.sigma_alone {
        Some(alone) => format!(
            "This takes {prior_scale:.1} {unit} as the scale of a likely spread before any sample; the samples alone say {:.1} to {:.1} {unit}.",
            alone.low, alone.high
        ),
        None => format!(
            "One sample says nothing about the spread: this is only the belief that it is likely below {:.0} {unit}.",
            2.0 * prior_scale
        ),
    });
    said.push(format!(
        "The next sample lies within {:.1} {unit} of the mean of these ({percent:.0} % odds).",
        s.next_sample_half_width
    ));
    said.push(halving_sentence(&s, values.len()));
    let odds = prior_agrees(s.samples, s.standard_deviation.unwrap_or(0.0), prior_scale);
    if odds < PRIOR_DOUBT {
        said.push(format!(
            "The samples spread more than the scale of {prior_scale:.1} {unit} lets one expect (odds {:.1} %): the range may be too narrow, give a wider scale.",
            100.0 * odds
        ));
    }
    said
}

fn halving_sentence(s: &SpreadSummary, n: usize) -> String {
    match samples_to_halve(n, s.standard_deviation.unwrap_or(0.0), s.prior_scale, s.level) {
        Some(all) if all - n == 1 => "One more sample would halve this range.".to_string(),
        Some(all) => format!("{} more samples would halve this range.", all - n),
        None => "More than 10000 samples would be needed to halve this range.".to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_samples_half_a_decibel_apart() {
        // s = 0.5 dB: the interval 0.284 to 1.749 dB is checked in `sigma_posterior`.
        let said = spread_sentences(&[-17.5, -18.0, -18.5], 1.0, 0.95, "dB");
        assert_eq!(
            said[0],
            "With 3 samples the production spread is 0.3 to 1.7 dB (95 % odds, best guess 0.7)."
        );
        assert!(said[1].ends_with("the samples alone say 0.3 to 3.1 dB."), "{}", said[1]);
        assert!(said[2].contains("within 2.0 dB"), "{}", said[2]);
        assert!(said[3].ends_with("more samples would halve this range."), "{}", said[3]);
        assert!(spread_sentences(&[-17.5], 1.0, 0.95, "dB")[1].starts_with("One sample says nothing"));
        assert_eq!(said.len(), 4);
        let wild = spread_sentences(&[-14.0, -18.0, -22.0], 1.0, 0.95, "dB");
        assert!(wild[4].starts_with("The samples spread more than the scale of 1.0 dB"), "{wild:?}");
        assert!(spread_sentences(&[], 1.0, 0.95, "dB").is_empty());
    }
}
