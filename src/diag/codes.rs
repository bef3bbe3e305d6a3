//! Every code a diagnostic may carry. Codes are stable: scripts may look for them.

/// (code, what it says).
pub const CODES: &[(&str, &str)] = &[
    (FILE_MISSING, "the file or folder does not exist or may not be read"),
    (FILE_IS_DIRECTORY, "a folder was named where a file is needed"),
    (FILE_TOO_LARGE, "the file is larger than any sensible input and was not read"),
    (FILE_NOT_UTF8, "the file is not text in UTF-8"),
    (FILE_EMPTY, "the file holds nothing"),
    (TOML_SYNTAX, "the text is not valid TOML"),
    (KEY_UNKNOWN, "no such key in this table"),
    (KEY_MISSING, "a key without a default is not set"),
    (KEY_CONFLICT, "two keys say different things about one quantity"),
    (WRONG_TYPE, "the value is of another type than the key needs"),
    (UNKNOWN_CHOICE, "the value is not one of the choices"),
    (OUT_OF_RANGE, "a number is outside its limits, or not a number"),
    (QUANTITY_FORM, "a table does not describe a distribution"),
    (COUNT, "too few or too many entries"),
    (NAME_DUPLICATE, "two things carry the same name"),
    (NAME_BAD, "a name is empty, too long or holds control characters"),
    (SHARES_SUM, "shares do not sum to 1"),
    (FINISH_COUNT, "not exactly one finish"),
    (LINK_TIMING, "the lengths of a link profile contradict each other"),
    (CHANNEL_OUTSIDE_BAND, "a channel lies outside the region's band"),
    (DWELL_TOO_LONG, "a dwell is longer than the region allows"),
    (POWER_ABOVE_LIMIT, "an antenna is set above what its region allows"),
    (ROUNDS_MANY, "so many rounds in a passing that a run is slow or refused"),
    (CHANGE_REFUSED, "a change of a scenario leads nowhere"),
    (TAG_FOLDER, "the tag folder is missing or holds no tag.toml"),
    ("csv-no-rows", "a table without rows"),
    ("csv-broken", "the table cannot be read on"),
    ("csv-separator", "columns are not separated by commas"),
    ("csv-column", "a column is missing, unknown or named twice"),
    ("csv-width", "a row has more or fewer fields than the header"),
    ("csv-empty-cell", "a cell that is needed is empty"),
    ("csv-mount", "phantom and gap do not describe a mount"),
    ("csv-number", "a cell holds no number"),
    ("csv-range", "a number in a table is outside its limits, or a text too long"),
    ("csv-duplicate", "the same reading stands twice"),
    ("sweep-misses-region", "channels in use that no sweep covers"),
    ("sweep-misses-reply", "channels in use at which a mount has no reply"),
    ("sweep-misses-water-shift", "water moves the tag beyond its sweeps"),
    ("sweep-asleep", "backscatter from a tag that slept"),
    ("more-problems", "more problems of a file than are shown"),
    ("tag-range", "a number in tag.toml is outside its limits"),
    ("tag-name", "a tag without a name, or with too long a text"),
    ("tag-sweeps", "the sweeps of a tag are missing or outside its folder"),
    ("tag-raw", "raw readings where referred ones are needed"),
    ("tag-twice", "the same sweep stands in two files"),
    ("tag-batch", "a sample in two batches, or a prototype batch nobody was read from"),
    ("tag-choice", "several phantoms or link profiles to choose from"),
    ("tag-few-samples", "too few samples to know the spread"),
    ("tag-mounts", "mounts that cannot be joined to one curve"),
    ("tag-no-free-air", "no free-air sweep"),
    ("tag-no-body", "no sweep over a body phantom"),
    ("tag-unbalanced", "a sample was not measured in every mount"),
    ("tag-no-threshold", "a mount without one threshold"),
    ("tag-never-woke", "no sample woke at some frequencies"),
    ("tag-no-backscatter", "a mount without backscatter"),
    (TAG_FINDING, "the laboratory found something about the measurement"),
    ("tag-implausible", "thresholds or replies that no passive tag can have"),
    ("tag-copies", "two samples with the same readings"),
    ("tag-spacing", "frequencies too far apart for the resonance"),
    ("touchstone", "a Touchstone file cannot be used"),
    ("correction", "a correction table cannot be used"),
    ("correction-cover", "a correction does not cover the sweep"),
    ("raw-bench", "a correction that no cable or antenna can have"),
    ("raw-setup", "the set-up of raw readings is incomplete or contradicts itself"),
    (LEARNED, "learned beliefs that cannot be used here"),
    (OUTCOME_COUNTS, "counts of an outcome contradict each other"),
    (OUTCOME_REFERENCE, "a reference that cannot tell who was missed"),
    (OUTCOME_FORECAST, "a stored forecast that does not belong to the outcome"),
    (OUTCOME_POINT, "an outcome names what its scenario does not have"),
    (READS_PERSONAL, "a read log with columns about people"),
    (READS_PORT, "a read log has a port that belongs to no line"),
    (OUTPUT_EXISTS, "an output is there already and was not overwritten"),
    (OUTPUT_FAILED, "an output could not be written"),
];

pub const FILE_MISSING: &str = "file-missing";
pub const FILE_IS_DIRECTORY: &str = "file-is-directory";
pub const FILE_TOO_LARGE: &str = "file-too-large";
pub const FILE_NOT_UTF8: &str = "file-not-utf8";
pub const FILE_EMPTY: &str = "file-empty";
pub const TOML_SYNTAX: &str = "toml-syntax";
pub const KEY_UNKNOWN: &str = "key-unknown";
pub const KEY_MISSING: &str = "key-missing";
pub const KEY_CONFLICT: &str = "key-conflict";
pub const WRONG_TYPE: &str = "wrong-type";
pub const UNKNOWN_CHOICE: &str = "unknown-choice";
pub const OUT_OF_RANGE: &str = "out-of-range";
pub const QUANTITY_FORM: &str = "quantity-form";
pub const COUNT: &str = "count";
pub const NAME_DUPLICATE: &str = "name-duplicate";
pub const NAME_BAD: &str = "name-bad";
pub const SHARES_SUM: &str = "shares-sum";
pub const FINISH_COUNT: &str = "finish-count";
pub const LINK_TIMING: &str = "link-timing";
pub const CHANNEL_OUTSIDE_BAND: &str = "channel-outside-band";
pub const DWELL_TOO_LONG: &str = "dwell-too-long";
pub const POWER_ABOVE_LIMIT: &str = "power-above-limit";
pub const ROUNDS_MANY: &str = "rounds-many";
pub const CHANGE_REFUSED: &str = "change-refused";
pub const TAG_FINDING: &str = "tag-finding";
pub const TAG_FOLDER: &str = "tag-folder";
pub const LEARNED: &str = "learned";
pub const OUTCOME_COUNTS: &str = "outcome-counts";
pub const OUTCOME_REFERENCE: &str = "outcome-reference";
pub const OUTCOME_FORECAST: &str = "outcome-forecast";
pub const OUTCOME_POINT: &str = "outcome-point";
pub const READS_PERSONAL: &str = "reads-personal";
pub const READS_PORT: &str = "reads-port";
pub const OUTPUT_EXISTS: &str = "output-exists";
pub const OUTPUT_FAILED: &str = "output-failed";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_unique_and_kebab_case() {
        let mut seen = std::collections::BTreeSet::new();
        for (code, says) in CODES {
            assert!(seen.insert(code), "{code} twice");
            assert!(code.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'), "{code}");
            assert!(!says.is_empty() && !says.ends_with('.'), "{code}");
        }
        assert!(CODES.len() > 20);
    }
}
