//! Patterns of paths: `*` and `?` within a name, `**` over folders, `[ab]` and `{one,other}` for choices, `\` before a
//! character that stands for itself.
//!
//! Knows only texts, not which files exist. A library does the matching and treats a broken pattern as one that matches
//! nothing; so that nothing is lost silently, broken patterns are found first.

use std::str::Chars;

/// A pattern without faults.
#[derive(Clone, Debug)]
pub struct Pattern {
    /// As the library reads it.
    text: String,
}

impl Pattern {
    /// The pattern that a text is.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn new(text: &str) -> Result<Self, String> {
        // The library reads this sign at the beginning as 'all except'.
        let mut read = if text.starts_with('!') { "\\".to_owned() } else { String::new() };
        let mut open_groups = 0_usize;
        let mut rest = text.chars();
        while let Some(character) = rest.next() {
            match character {
                '\\' => escape(&mut rest, &mut read)?,
                '[' => class(&mut rest, &mut read)?,
                other => {
                    open_groups = groups_after(other, open_groups)?;
                    read.push(other);
                }
            }
        }
        if open_groups > 0 { Err("unclosed group; missing '}'".into()) } else { Ok(Self { text: read }) }
    }

    /// Whether a path, with `/` between its names, matches.
    pub fn is_match(&self, path: &str) -> bool {
        fast_glob::glob_match(&self.text, path)
    }
}

fn groups_after(character: char, open_groups: usize) -> Result<usize, String> {
    match character {
        '{' => Ok(open_groups + 1),
        '}' => open_groups.checked_sub(1).ok_or_else(|| "unopened group; missing '{'".into()),
        _ => Ok(open_groups),
    }
}

fn escape(rest: &mut Chars<'_>, read: &mut String) -> Result<(), String> {
    let character = rest.next().ok_or("a '\\' at the end; it stands before a character that stands for itself")?;
    // To the library `\n` is a line's end; here it is the letter.
    if !character.is_alphanumeric() {
        read.push('\\');
    }
    read.push(character);
    Ok(())
}

/// Takes the members of a class up to its end; a bracket that comes first is one of them.
fn class(rest: &mut Chars<'_>, read: &mut String) -> Result<(), String> {
    let mut members: Vec<char> = Vec::new();
    read.push('[');
    if let Some(negation) = rest.as_str().chars().next().filter(|first| matches!(first, '!' | '^')) {
        read.push(negation);
        rest.next();
    }
    loop {
        match rest.next().ok_or("unclosed character class; missing ']'")? {
            ']' if !members.is_empty() => break,
            member => members.push(member),
        }
    }
    let turned = members.windows(3).find_map(|three| match *three {
        [from, '-', to] if from > to => Some((from, to)),
        _ => None,
    });
    if let Some((from, to)) = turned {
        return Err(format!("invalid range; '{from}' > '{to}'"));
    }
    for member in members {
        // In our classes nothing is escaped.
        if member == '\\' {
            read.push('\\');
        }
        read.push(member);
    }
    read.push(']');
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::Pattern;

    /// Common practice of shells (POSIX.1, Shell Command Language, 2.14, and the usual `**` and `{,}`).
    #[test]
    fn patterns_match_as_in_a_shell() {
        for (pattern, path, is_match) in [
            ("*.png", "a.png", true),
            ("*.png", "a/b.png", false),
            ("**/*.png", "a/b/c.png", true),
            ("**/*.png", "c.png", true),
            ("drafts/**", "drafts/a/b", true),
            ("step-?.png", "step-1.png", true),
            ("step-?.png", "step-12.png", false),
            ("[!a-c].png", "d.png", true),
            ("[!a-c].png", "b.png", false),
            ("{day,night}/*", "night/a", true),
            ("\\*.png", "*.png", true),
            ("\\n.png", "n.png", true),
            ("!a", "!a", true),
            ("!a", "b", false),
            ("[]]", "]", true),
            ("[\\]", "\\", true),
        ] {
            let read = Pattern::new(pattern).expect("the pattern is whole");
            assert_eq!(read.is_match(path), is_match, "{pattern} {path}");
        }
    }

    #[test]
    fn broken_patterns_are_found() {
        for (pattern, fault) in [
            ("a[", "unclosed character class; missing ']'"),
            ("[]", "unclosed character class; missing ']'"),
            ("[b-a]", "invalid range; 'b' > 'a'"),
            ("{a,b", "unclosed group; missing '}'"),
            ("a}", "unopened group; missing '{'"),
            ("a\\", "a '\\' at the end; it stands before a character that stands for itself"),
        ] {
            assert_eq!(Pattern::new(pattern).expect_err("it is broken"), fault, "{pattern}");
        }
    }
}
