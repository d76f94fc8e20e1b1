//! What people complain about, and which groups of rules speak of it. Knows no story.

/// The group of the rules about what does not reach the glass.
pub(super) const REACHES_THE_GLASS: &str = "Does it reach the glass?";

/// A kind of complaint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Complaint {
    /// It flashes or blinks.
    Flicker,
    /// Old content shines through, or a grey veil.
    Ghost,
    /// The picture is speckled, or noisy.
    Speckles,
    /// A shadow that no cleaning removes.
    Shadow,
    /// It reacts too late.
    Late,
    /// It does not appear, or the old picture stays.
    Missing,
    /// It appears in another place, or cut.
    Shifted,
    /// A colour panel flashes for many seconds.
    ColourFlicker,
    /// The edge around the picture blinks.
    Border,
}

impl Complaint {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Flicker,
        Self::Ghost,
        Self::Speckles,
        Self::Shadow,
        Self::Late,
        Self::Missing,
        Self::Shifted,
        Self::ColourFlicker,
        Self::Border,
    ];

    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Flicker => "flicker",
            Self::Ghost => "ghost",
            Self::Speckles => "speckles",
            Self::Shadow => "shadow",
            Self::Late => "late",
            Self::Missing => "missing",
            Self::Shifted => "shifted",
            Self::ColourFlicker => "colour-flicker",
            Self::Border => "border",
        }
    }

    /// What it means, in a few words.
    pub fn about(self) -> &'static str {
        match self {
            Self::Flicker => "it flashes or blinks",
            Self::Ghost => "old content shows through, or there is a grey veil",
            Self::Speckles => "the picture is speckled or noisy",
            Self::Shadow => "a shadow stays, even after the whole panel has flashed",
            Self::Late => "it reacts too late",
            Self::Missing => "something does not appear, or the old picture stays",
            Self::Shifted => "something appears in the wrong place, or is cut off",
            Self::ColourFlicker => "a colour panel flashes for many seconds",
            Self::Border => "the edge around the picture blinks",
        }
    }

    /// The groups of rules whose findings are about it.
    pub(super) fn groups(self) -> &'static [&'static str] {
        match self {
            Self::Flicker | Self::ColourFlicker | Self::Border => &["Flashes"],
            // A mode that cannot start from a shade, or is cut short, leaves what was there.
            Self::Ghost => &["Ghosts", "Pen", "Can this mode show that?"],
            Self::Shadow => &["Ghosts"],
            Self::Speckles => &["Can this mode show that?"],
            Self::Late => &["Time"],
            Self::Missing => &[REACHES_THE_GLASS, "Can this mode show that?"],
            Self::Shifted => &[REACHES_THE_GLASS],
        }
    }
}
