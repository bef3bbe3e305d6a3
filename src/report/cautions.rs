//! Cautions that belong to every report about a timing point.

/// Usual cautions; local rules and licensed practice prevail.
pub const CAUTIONS: [&str; 5] = [
    "Radiated power, bands and licences are matters of local law: a forecast is no permission to transmit. Sweep outside the licensed band only inside a shielded chamber.",
    "Keep people at the screening distance from every antenna that is on (the check command prints it); it is a screening value, not an exposure assessment. Do not stand or linger on antennas.",
    "Mats, cables and ramps are trip hazards: secure, cover and mark them.",
    "Gantries, trusses, and mains supply in the rain are for qualified people.",
    "Local rules and licensed practice prevail over anything printed here.",
];
