//! Numbers and texts as the page says them.

/// A text as markup shows it.
pub(super) fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            other => escaped.push(other),
        }
    }
    escaped
}

/// Milliseconds, whole from ten on.
pub(super) fn ms(value: f64) -> String {
    if value >= 10.0 { format!("{value:.0}") } else { format!("{value:.1}") }
}

/// A stretch of time in the unit that suits it.
pub(super) fn span(ms: f64) -> String {
    let seconds = ms / 1000.0;
    match seconds {
        _ if ms < 1000.0 => format!("{ms:.0} ms"),
        _ if seconds < 100.0 => format!("{seconds:.1} s"),
        _ if seconds < 5400.0 => format!("{} min {} s", seconds as u64 / 60, seconds as u64 % 60),
        _ if seconds < 172_800.0 => format!("{:.1} h", seconds / 3600.0),
        _ => format!("{:.0} days", seconds / 86_400.0),
    }
}

/// A count with its noun.
pub(super) fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}
