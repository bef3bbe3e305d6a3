//! Switches: each physical effect can be turned off, so that the model reduces to closed forms.

use super::walk::Section;
use schemars::JsonSchema;
use serde::Serialize;

/// `[effects]` as written: every key true or false, default true.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(default = "all")]
pub struct Effects {
    /// Reflection by the road and by metal planes.
    pub ground: bool,
    /// The runner's own body behind the tag.
    pub body: bool,
    /// Other runners as screens.
    pub neighbours: bool,
    /// Scattered waves.
    pub diffuse_waves: bool,
    /// Resonance shift and film on the tag, film on the road.
    pub water: bool,
    /// Other tags answering in the same round.
    pub contention: bool,
    /// Off: the tag takes the co-polar part of every wave alike, from every side.
    pub tag_pattern: bool,
    /// Off: every antenna radiates its peak gain in every direction.
    pub antenna_pattern: bool,
    /// Off: no sway, bounce or flutter; the runner glides.
    pub stride: bool,
    /// Off: a tag that is awake and alone is always heard (received power is still computed).
    pub decoding: bool,
}

impl Effects {
    pub const ALL: Effects = Effects {
        ground: true,
        body: true,
        neighbours: true,
        diffuse_waves: true,
        water: true,
        contention: true,
        tag_pattern: true,
        antenna_pattern: true,
        stride: true,
        decoding: true,
    };
}

fn all() -> Effects {
    Effects::ALL
}

/// Reads `[effects]`; an effect switched off is listed as assumed.
pub fn read(section: &Section) -> Effects {
    let switch = |key: &'static str| {
        let on = section.boolean(key).unwrap_or(true);
        if !on {
            section.walk.assume(format!("effects.{key}"), "switched off".to_owned(), "set in the scenario");
        }
        on
    };
    let effects = Effects {
        ground: switch("ground"),
        body: switch("body"),
        neighbours: switch("neighbours"),
        diffuse_waves: switch("diffuse_waves"),
        water: switch("water"),
        contention: switch("contention"),
        tag_pattern: switch("tag_pattern"),
        antenna_pattern: switch("antenna_pattern"),
        stride: switch("stride"),
        decoding: switch("decoding"),
    };
    section.finish();
    effects
}
