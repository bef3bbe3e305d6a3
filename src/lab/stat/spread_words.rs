//! The spread of production said in words, with the number behind every word.

use super::few::SpreadSummary;

/// Below these odds the words doubt the prior.
const PRIOR_DOUBT: f64 = 0.05;

/// Sentences about the production spread: what is known, what the prior did, what more samples would bring. `unit` is
/// "dB" or "MHz".
pub fn spread_sentences(s: &SpreadSummary, unit: &str) -> Vec<String> {
    let percent = 100.0 * s.level;
    let count = match s.samples {
        1 => "1 sample".to_string(),
        n => format!("{n} samples"),
    };
    let next = format!(
        "The next sample lies within {:.1} {unit} of the mean of these ({percent:.0} % odds).",
        s.next_sample_half_width
    );
    let alone = s.sigma_alone.map(|alone| match alone.high < 0.05 {
        true => "that all of it may be placing and reading".to_owned(),
        false => format!("{:.1} to {:.1} {unit}", alone.low, alone.high),
    });
    if s.known {
        let mut said = vec![format!(
            "tag.toml states a production spread of {:.1} {unit}: that is used, not the samples.",
            s.sigma_median
        )];
        said.extend(alone.map(|range| format!("The {count} alone would say {range}.")));
        said.push(next);
        return said;
    }
    let mut said = vec![format!(
        "With {count} the production spread is {:.1} to {:.1} {unit} ({percent:.0} % odds, best guess {:.1}).",
        s.sigma.low, s.sigma.high, s.sigma_median
    )];
    let scale = s.prior.scale;
    said.push(match alone {
        Some(range) => format!(
            "This takes {scale:.1} {unit} as the scale of a likely spread before any sample ([spread] in tag.toml changes it); the samples alone say {range}."
        ),
        None => format!(
            "One sample says nothing about the spread: this is only the belief that {scale:.1} {unit} is the scale of a likely one ([spread] in tag.toml changes it)."
        ),
    });
    said.push(next);
    said.push(halving_sentence(s));
    let odds = s.prior_odds();
    if odds < PRIOR_DOUBT {
        said.push(format!(
            "The samples spread more than the scale of {scale:.1} {unit} lets one expect (odds {:.1} %): the range may be too narrow, give a wider scale.",
            100.0 * odds
        ));
    }
    said
}

fn halving_sentence(s: &SpreadSummary) -> String {
    match s.samples_to_halve() {
        Some(all) if all - s.samples == 1 => "One more sample would halve this range.".to_string(),
        Some(all) => format!("{} more samples would halve this range.", all - s.samples),
        None => "More than 10000 samples would be needed to halve this range.".to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::few::{Ground, spread_summary};
    use super::super::sigma_posterior::Prior;
    use super::*;

    fn said(values: &[f64], ground: &Ground) -> Vec<String> {
        spread_sentences(&spread_summary(values, ground, 0.95).expect("samples"), "dB")
    }

    #[test]
    fn three_samples_half_a_decibel_apart() {
        // s = 0.5 dB: the interval 0.284 to 1.749 dB is checked in `sigma_posterior`.
        let normal = Ground::prior(Prior::half_normal(1.0));
        let words = said(&[-17.5, -18.0, -18.5], &normal);
        assert!(
            words[0].starts_with("With 3 samples the production spread is 0.3 to 1.7 dB (95 % odds"),
            "{words:?}"
        );
        assert!(words[1].ends_with("the samples alone say 0.3 to 3.1 dB."), "{}", words[1]);
        assert!(words[2].contains("within 2.0 dB"), "{}", words[2]);
        assert!(words[3].ends_with("more samples would halve this range."), "{}", words[3]);
        assert!(said(&[-17.5], &normal)[1].starts_with("One sample says nothing"));
        assert_eq!(words.len(), 4);
        let wild = said(&[-14.0, -18.0, -22.0], &normal);
        assert!(wild[4].starts_with("The samples spread more than the scale of 1.0 dB"), "{wild:?}");
        // The wider tail expects such samples sooner.
        assert!(
            said(&[-17.5, -18.0, -18.5], &Ground::prior(Prior::half_t(1.0)))[0].contains("0.3 to 2.0 dB")
        );
    }

    #[test]
    fn a_known_spread_and_noisy_values_are_said_as_such() {
        let known = Ground { known: Some(0.6), ..Ground::prior(Prior::half_t(1.0)) };
        let words = said(&[-17.5, -18.0, -18.5], &known);
        assert!(words[0].starts_with("tag.toml states a production spread of 0.6 dB"), "{words:?}");
        assert_eq!(words.len(), 3);
        // All of s² = 0.25 may be noise.
        let noisy = Ground { noise_variance: 0.25, ..Ground::prior(Prior::half_t(1.0)) };
        assert!(said(&[-17.5, -18.0, -18.5], &noisy)[1].ends_with("alone say 0.0 to 3.1 dB."));
    }
}
