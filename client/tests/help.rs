//! The words of the whole help tree, so that a change of wording is read
//! before it lands. `INSTA_UPDATE=always cargo test -p baywright-client --test
//! help` writes the snapshot anew.

use std::fmt::Write as _;

use baywright_client::args::Cli;
use clap::{Command, CommandFactory as _};

/// Every command with what it says of itself; the common flags only once.
fn tree(command: &Command, path: &str, out: &mut String) {
    let about = command.get_long_about().or(command.get_about());
    let hidden = if command.is_hide_set() {
        " (hidden)"
    } else {
        ""
    };
    let _ = writeln!(out, "== {path}{hidden}");
    if let Some(about) = about {
        let _ = writeln!(out, "{about}");
    }
    for arg in command.get_arguments() {
        if arg.is_global_set() && path != "bay" {
            continue;
        }
        let name = arg
            .get_long()
            .map_or_else(|| format!("<{}>", arg.get_id()), |long| format!("--{long}"));
        let help = arg.get_long_help().or(arg.get_help());
        let help = help.map(ToString::to_string).unwrap_or_default();
        let _ = writeln!(out, "  {name}  {help}");
    }
    if let Some(after) = command.get_after_help() {
        let _ = writeln!(out, "{after}");
    }
    out.push('\n');
    for sub in command.get_subcommands() {
        tree(sub, &format!("{path} {}", sub.get_name()), out);
    }
}

#[test]
fn the_words_of_the_help() {
    let mut out = String::new();
    tree(&Cli::command(), "bay", &mut out);
    insta::assert_snapshot!(out);
}

/// Commands that only hold others say nothing by themselves.
fn leaves(command: &Command, path: &str, found: &mut Vec<(String, String)>) {
    let mut subs = command.get_subcommands().peekable();
    if subs.peek().is_none() {
        let said = [
            command.get_about(),
            command.get_long_about(),
            command.get_after_help(),
        ];
        let said: Vec<String> = said.iter().flatten().map(ToString::to_string).collect();
        found.push((path.to_owned(), said.join("\n")));
    }
    for sub in subs {
        leaves(sub, &format!("{path} {}", sub.get_name()), found);
    }
}

#[test]
fn every_command_shows_itself_in_an_example() {
    let mut found = Vec::new();
    leaves(&Cli::command(), "bay", &mut found);
    let silent: Vec<&String> = found
        .iter()
        .filter(|(path, said)| !said.contains(path.as_str()))
        .map(|(path, _)| path)
        .collect();
    assert!(silent.is_empty(), "no example in the help of {silent:?}");
}

#[test]
fn the_command_tree_is_sound() {
    Cli::command().debug_assert();
}
