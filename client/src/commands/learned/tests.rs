//! The names of the JSON.

use super::*;
use crate::render::fixture;

#[test]
fn the_names_in_the_json_of_what_was_learned_are_part_of_the_contract() {
    let json = outcome(&fixture::learned(), None, 80).json;
    insta::assert_snapshot!(fixture::key_paths(&json).join("\n"));
}

#[test]
fn the_names_in_the_json_of_how_quotes_held_are_part_of_the_contract() {
    let json = honesty_outcome(&fixture::honesty(), 80).json;
    insta::assert_snapshot!(fixture::key_paths(&json).join("\n"));
}
