//! The panel of the program against the plain one of the tests, on plans that are made of the bytes.
#![no_main]
#![allow(dead_code, unused_imports, reason = "the target takes a part of the model of the tests")]

#[path = "../../tests/model"]
mod model {
    pub(crate) mod comparing;
    pub(crate) mod plain;
    pub(crate) mod program;
    pub(crate) mod random_plans;
}

use model::{comparing, plain, program, random_plans};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().expect("a folder can be made");
    let difference = comparing::first_difference_of_bytes(bytes, folder.path());
    assert_eq!(difference, None, "the panel differs from the plain one");
});
