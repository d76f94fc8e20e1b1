//! The display descriptions that ship with the program, as texts.

/// Name and text of every shipped description, in the order of the list that users see.
pub const SHIPPED: [(&str, &str); 6] = [
    ("label-2in1", include_str!("shipped/label-2in1.display.json")),
    ("meter-2in9", include_str!("shipped/meter-2in9.display.json")),
    ("watch-1in3", include_str!("shipped/watch-1in3.display.json")),
    ("handheld-4in2", include_str!("shipped/handheld-4in2.display.json")),
    ("reader-7in", include_str!("shipped/reader-7in.display.json")),
    ("tablet-10in3", include_str!("shipped/tablet-10in3.display.json")),
];

/// The text of a shipped description.
pub fn text_of(name: &str) -> Option<&'static str> {
    SHIPPED.iter().find(|(shipped, _)| *shipped == name).map(|(_, text)| *text)
}

/// The names of the shipped descriptions.
pub fn names() -> impl Iterator<Item = &'static str> + Clone {
    SHIPPED.iter().map(|(name, _)| *name)
}
