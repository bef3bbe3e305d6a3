//! Switches: each physical effect can be turned off, so that the model reduces to closed forms.

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effects {
    pub ground: bool,
    pub body: bool,
    pub neighbours: bool,
    pub diffuse_waves: bool,
    /// Resonance shift and film on the tag, film on the road.
    pub water: bool,
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
