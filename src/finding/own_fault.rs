//! Bugs in the program: what stops with a panic becomes something that is reported, and everything else goes on.

use std::{
    any::Any,
    panic::{AssertUnwindSafe, catch_unwind},
};

/// The id under which such a fault stands among the findings. No rule has it: it can be neither switched off, nor accepted,
/// nor known.
pub const OWN_FAULT: &str = "own-fault";

/// Does some work; where that stops with a panic, gives the words of it.
///
/// # Errors
/// What the panic said.
pub fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    // What the work had in its hands is released, or reported as broken: nobody goes on with it.
    catch_unwind(AssertUnwindSafe(work)).map_err(|panic| words_of(&*panic))
}

fn words_of(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().map(|text| (*text).to_owned());
    text.or_else(|| panic.downcast_ref::<String>().cloned()).unwrap_or_else(|| "it gives no further details".into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_panic_says_is_told() {
        assert_eq!(guarded(|| 7), Ok(7));
        let (none, at): ([u8; 0], usize) = ([], 3);
        let text = guarded(|| none[at]).expect_err("there is no such element");
        assert!(text.contains("index is 3"), "{text}");
        assert_eq!(guarded(|| std::panic::panic_any(5)), Err::<(), _>("it gives no further details".into()));
    }
}
