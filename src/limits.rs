//! One table of limits. The check and the message both come from it, so they cannot drift apart.
//!
//! A limit says where a number stops making sense for this tool, not what the law allows: legal power is
//! checked against the region by `study::check`. Unless a row says otherwise its source is our own judgement
//! ("our estimate"): wide enough for any real timing point, narrow enough to catch a slip of unit or sign.

/// Most characters of a name, which stands in tables.
pub const MOST_NAME: usize = 80;
/// Most characters of a note.
pub const MOST_TEXT: usize = 2000;

/// Range of one number of an input file.
#[derive(Debug, PartialEq)]
pub struct Limit {
    /// Section and key as written in the file.
    pub key: &'static str,
    pub unit: &'static str,
    pub min: f64,
    pub max: f64,
    /// Why the range ends where it does: lower case, no final period.
    pub why: &'static str,
    pub source: &'static str,
}

impl Limit {
    /// Whether `value` lies in min..=max. NaN never does.
    pub fn holds(&self, value: f64) -> bool {
        value >= self.min && value <= self.max
    }

    /// The key without its section.
    pub fn name(&self) -> &'static str {
        self.key.rsplit('.').next().unwrap_or(self.key)
    }

    /// `0 to 8 m`.
    pub fn range(&self) -> String {
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        format!("{} to {}{unit}", self.min, self.max)
    }

    /// The message when `value` is refused.
    pub fn check(&self, value: f64) -> Result<(), String> {
        if self.holds(value) {
            Ok(())
        } else if !value.is_finite() {
            Err(format!("{} = {value} is not a finite number in {}", self.name(), self.range()))
        } else {
            Err(format!("{} = {value} is outside {}", self.name(), self.range()))
        }
    }
}

macro_rules! limits {
    ($($name:ident: $key:literal, $unit:literal, $min:expr, $max:expr, $why:literal, $source:expr;)*) => {
        $(pub static $name: Limit = Limit {
            key: $key, unit: $unit, min: $min, max: $max, why: $why, source: $source,
        };)*
        /// Every row, for the documentation and the tests.
        pub static ALL: &[&Limit] = &[$(&$name),*];
    };
}

const OURS: &str = "our estimate";
const MHZ_LOW: f64 = 840.0;
const MHZ_HIGH: f64 = 970.0;

limits! {
    DISTANCE_KM: "event.distance_km", "km", 0.1, 500.0, "a foot race", OURS;
    // region
    FREQ_MHZ: "region.channels_mhz", "MHz", MHZ_LOW, MHZ_HIGH, "ISO/IEC 18000-63 tags work from 860 to 960 MHz, with some room at both ends", "ISO/IEC 18000-63, title and scope";
    DWELL_S: "region.dwell_s", "s", 0.001, 3600.0, "time on one channel", OURS;
    LIMIT_DBM: "region.limit", "dBm", -10.0, 60.0, "regional limits lie between some mW and some W", OURS;
    UP_TO_GAIN_DBI: "region.limit.up_to_gain_dbi", "dBi", -10.0, 30.0, "gain of one antenna", OURS;
    // weather and road
    SHARE: "share", "", 0.0, 1.0, "a share of the whole", "definition";
    FILM_MM: "surface.film_mm", "mm", 0.0, 50.0, "water standing on the road; deeper is a ford", OURS;
    WATER_C: "surface.water_c", "°C", 0.0, 40.0, "liquid water on a road", "ITU-R P.527 permittivity of liquid water, from memory";
    // field
    RUNNERS: "field.runners", "runners", 1.0, 1e6, "at least one runner", OURS;
    SPEED_M_S: "field.speed_m_s", "m/s", 0.2, 12.0, "from a shuffling crowd to faster than any sprinter", OURS;
    STATURE_M: "field.stature_m", "m", 1.0, 2.4, "adult stature", OURS;
    HEIGHT_SHARE: "field.bib_height_share", "of stature", 0.3, 0.95, "between the hips and the chin", OURS;
    TAG_HEIGHT_M: "field.tag_height_m", "m", 0.05, 3.0, "above the road and below a gantry", OURS;
    LEAN_DEG: "field.lean_deg", "°", -45.0, 60.0, "lean of a running trunk; published values reach 25°", OURS;
    YAW_DEG: "field.yaw_deg", "°", -180.0, 180.0, "a full turn", "definition";
    STEP_RATE: "field.step_rate_base_per_min", "steps/min", 0.0, 300.0, "published step rates reach 203 per minute", OURS;
    STEP_SLOPE: "field.step_rate_slope_per_min_per_m_s", "steps/min per m/s", 0.0, 60.0, "published slopes are near 6", OURS;
    HEIGHT_OFFSET_M: "field.placements.height_offset_m", "m", -0.8, 0.8, "the tag stays on the runner", OURS;
    PLACEMENT_YAW_DEG: "field.placements.yaw_deg", "°", 0.0, 180.0, "the side is drawn, so only the size is given", "definition";
    COVER_LOSS_DB: "field.placements.cover_loss_db", "dB", 0.0, 30.0, "a loss is not negative", OURS;
    ROLL_DEG: "field.placements.roll_deg", "°", -90.0, 90.0, "a dipole turned by 180° is the same dipole", "definition";
    // beliefs
    GAP_MM: "beliefs.air_gap_mm", "mm", 0.0, 500.0, "a gap is not negative; beyond some cm the body no longer matters", OURS;
    SHIFT_MHZ: "beliefs.resonance_shift_mhz", "MHz", -50.0, 150.0, "the sweeps must still cover the shifted frequency", OURS;
    FILM_LOSS_DB: "beliefs.film_loss_db", "dB", 0.0, 30.0, "a loss is not negative", OURS;
    SCATTER_LOSS_DB: "beliefs.scatter_loss_db", "dB", -20.0, 60.0, "from a reverberant hall to hardly any scatter", OURS;
    SCATTER_DETOUR_M: "beliefs.scatter_detour_m", "m", 0.0, 100.0, "detour of a scattered wave near the line", OURS;
    CROSS_POLAR_DB: "beliefs.cross_polar_db", "dB", 3.0, 120.0, "the crosswise response lies below the other", "definition";
    TORSO_RADIUS_M: "beliefs.torso_radius_m", "m", 0.12, 0.17, "radii for which the body is tabulated", OURS;
    START_UP_MS: "beliefs.start_up_ms", "ms", 0.0, 20.0, "chips charge within some milliseconds", OURS;
    CLING: "beliefs.cling_factor", "", 0.05, 20.0, "a factor on the gap", OURS;
    BODY_LOSS_DB: "beliefs.body_loss_db", "dB", -20.0, 20.0, "difference between a body and the lab's phantom", OURS;
    BATCH_DB: "beliefs.batch_offset_db", "dB", -20.0, 20.0, "difference between batches of one tag", OURS;
    FLUTTER: "beliefs.flutter_share", "of the gap", 0.0, 1.0, "the gap cannot turn negative", "definition";
    SWAY_DEG: "beliefs.sway_deg", "°", -45.0, 60.0, "trunk yaw of a runner; a negative draw is the same sway half a stride later", OURS;
    BOUNCE_M: "beliefs.bounce_m", "m", 0.0, 0.3, "amplitude, half of the 6 to 10 cm peak to peak", OURS;
    SAMPLE_OFFSET_DB: "beliefs.sample_offset_db", "dB", -30.0, 30.0, "difference of one tag from the average tag", OURS;
    SAMPLE_FLOOR_DB: "beliefs.sample_offset_floor_db", "dB", 0.0, 10.0, "a spread is not negative", OURS;
    // outcomes
    COUNTED: "point.passed", "runners", 0.0, 1e7, "runners counted", OURS;
    CLOCK_OFFSET_S: "log.clock_offset_s", "s", -86400.0, 86400.0, "more than a day is a wrong date", OURS;
    LOWERED_DB: "power_lowered_db", "dB", 0.0, 40.0, "power is lowered for a trial, never raised", OURS;
    // timing point
    TARGET: "point.target", "", 0.0, 1.0, "a share of the runners; 0.998 is 99.8 %", "definition";
    FLOW_PER_MIN: "point.flow_per_min", "runners/min", 0.0, 6000.0, "a packed start clears some 100 runners per minute and metre of width", OURS;
    WAVE_MINUTES: "point.wave.minutes", "min", 0.01, 600.0, "time for one wave to cross the line", OURS;
    ROAD_WIDTH_M: "point.road_width_m", "m", 0.5, 60.0, "a path to a square", OURS;
    SPEED_FACTOR: "point.speed_factor", "", 0.05, 3.0, "a factor on the field's speed", OURS;
    LATERAL_M: "point.lateral_m", "m", -60.0, 60.0, "folded back at the road's edges", OURS;
    ZONE_M: "point.zone_m", "m", 0.2, 50.0, "half length of the stretch whose reads count", OURS;
    PLANE_M: "point.plane", "m", -200.0, 200.0, "near the timing point", OURS;
    AZIMUTH_DEG: "azimuth_deg", "°", -360.0, 360.0, "a full turn either way", "definition";
    // reader
    TARI_US: "reader.link.tari_us", "µs", 6.25, 25.0, "length of a data-0", "ISO/IEC 18000-63, by Soares Boaventura and Borges Carvalho (2025), table 4.1";
    RTCAL_US: "reader.link.rtcal_us", "µs", 15.625, 75.0, "2.5 to 3 Tari", "ISO/IEC 18000-63, from memory";
    TRCAL_US: "reader.link.trcal_us", "µs", 17.1875, 225.0, "1.1 to 3 RTcal", "ISO/IEC 18000-63, from memory";
    MILLER: "reader.link.miller", "", 1.0, 8.0, "1 is FM0; Miller knows 2, 4 and 8 subcarrier cycles per bit", "ISO/IEC 18000-63, by Soares Boaventura and Borges Carvalho (2025), chapter 4";
    PERSISTENCE_S: "reader.persistence_s", "s", 0.0, 3600.0, "how long a read tag keeps quiet", OURS;
    SENSITIVITY_DBM: "reader.sensitivity_dbm", "dBm", -120.0, -20.0, "thermal noise in 40 kHz is -128 dBm", "kT0B with T0 = 290 K";
    INTERFERENCE_DB: "reader.interference_db", "dB", 0.0, 60.0, "a rise of the sensitivity", OURS;
    PORTS: "reader.ports", "ports", 1.0, 64.0, "connectors of one reader, multiplexers included", OURS;
    EPC_BITS: "reader.epc_bits", "bits", 16.0, 496.0, "1 to 31 words of 16 bits, the five length bits of the protocol control", "ISO/IEC 18000-63, from memory";
    PORT_DWELL_S: "reader.port_dwell_s", "s", 0.001, 60.0, "time on one port", OURS;
    HOP_DWELL_S: "reader.hop_dwell_s", "s", 0.001, 3600.0, "time on one channel", OURS;
    FRAME_SLOTS: "reader.frame_slots", "slots", 1.0, 32768.0, "Q runs from 0 to 15", "ISO/IEC 18000-63, by Soares Boaventura and Borges Carvalho (2025), section 4.4";
    ROUND_S: "reader.round_s", "s", 0.0001, 10.0, "duration of an inventory round", OURS;
    // antenna
    ANTENNA_X_M: "antenna.x_m", "m", -30.0, 30.0, "near the timing line at x = 0", OURS;
    ANTENNA_Y_M: "antenna.y_m", "m", -60.0, 60.0, "across the road, 0 in its middle", OURS;
    ANTENNA_Z_M: "antenna.z_m", "m", 0.0, 12.0, "height above the road; an antenna cannot be under it, and a gantry ends at some metres", OURS;
    ELEVATION_DEG: "antenna.elevation_deg", "°", -90.0, 90.0, "up from the horizontal", "definition";
    ELEMENTS: "antenna.elements", "elements", 1.0, 16.0, "patches of one mat or panel", OURS;
    ELEMENT_SPACING_M: "antenna.element_spacing_m", "m", 0.05, 2.0, "between the middles of neighbouring elements", OURS;
    GAIN_DBI: "antenna.gain_dbi", "dBi", -15.0, 25.0, "gain of one antenna", OURS;
    BEAMWIDTH_DEG: "antenna.beamwidth_deg", "°", 5.0, 360.0, "half-power beamwidth", OURS;
    FRONT_TO_BACK_DB: "antenna.front_to_back_db", "dB", 0.0, 60.0, "a loss behind the antenna", OURS;
    AXIAL_RATIO_DB: "antenna.polarisation.axial_ratio_db", "dB", 0.0, 40.0, "0 is circular; beyond 40 it is linear", OURS;
    TILT_DEG: "antenna.polarisation.tilt_deg", "°", -180.0, 180.0, "turn from the horizontal", "definition";
    POWER_DBM: "antenna.power_dbm", "dBm", -20.0, 40.0, "reader output power; 30 dBm is 1 W", OURS;
    // season and catalogue
    RACES: "season.scenario.races", "races", 0.0, 1e5, "races like this in a season, or a factor on them", OURS;
    PRICE: "season.tag.price", "money per tag", 0.0, 1e6, "a price is not negative", OURS;
    STOCK: "season.tag.stock", "tags", 0.0, 1e12, "tags that can be had", OURS;
    COST: "cost", "money", 0.0, 1e12, "a cost is not negative", OURS;
    CABLE_LOSS_DB: "antenna.cable_loss_db", "dB", 0.0, 40.0, "a cable does not amplify", OURS;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_sound_and_named_once() {
        assert!(ALL.len() > 50);
        let mut keys = std::collections::BTreeSet::new();
        for limit in ALL {
            assert!(limit.min < limit.max, "{}", limit.key);
            assert!(keys.insert(limit.key), "{} twice", limit.key);
            assert!(
                !limit.why.is_empty() && !limit.why.ends_with('.') && !limit.source.is_empty(),
                "{}",
                limit.key
            );
        }
    }

    #[test]
    fn edges_pass_and_everything_beyond_fails() {
        for limit in ALL {
            assert!(limit.check(limit.min).is_ok() && limit.check(limit.max).is_ok());
            for bad in
                [limit.min.next_down(), limit.max.next_up(), f64::NAN, f64::INFINITY, f64::NEG_INFINITY]
            {
                let message = limit.check(bad).expect_err(limit.key);
                assert!(message.contains(&limit.range()) && message.contains(limit.name()), "{message}");
            }
        }
    }
}
