//! House rules that neither the compiler nor clippy knows, as tests over the
//! text of the clone. Each rule is a function from a file to what is wrong with
//! it, and has a test that it finds what it forbids.

#![allow(
    clippy::unwrap_used,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

use std::fs;
use std::path::{Path, PathBuf};

/// Longer files are split, or say why not in their header.
const LINES_MAX: usize = 600;
/// How a header says why: `//! Over 600 lines: it is one table.`
const LONG_BECAUSE: &str = "Over 600 lines: ";
/// Lines of a file that count as its header.
const HEADER_LINES: usize = 20;

/// Everything the top level may hold, beside dot files.
const TOP_LEVEL: [&str; 16] = [
    "CHANGELOG.md",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "README.md",
    "client",
    "clippy.toml",
    "daemon",
    "deny.toml",
    "deploy",
    "proto",
    "rust-toolchain.toml",
    "rustfmt.toml",
    "tests",
];

/// Crates that know no I/O, no clock and no gRPC, and what their manifests must
/// not name.
const PURE_CRATES: [&str; 3] = ["proto/terms", "daemon/floor", "daemon/report"];
const IMPURE: [&str; 6] = [
    "tokio",
    "tonic",
    "prost",
    "rusqlite",
    "baywright-proto",
    "baywright-daemon",
];

/// A file of the clone, as text.
#[derive(Debug)]
struct File {
    /// Path from the top of the clone, with `/`.
    path: String,
    text: String,
}

impl File {
    fn new(path: &str, text: &str) -> Self {
        Self {
            path: path.to_owned(),
            text: text.to_owned(),
        }
    }

    fn is_rust(&self) -> bool {
        Path::new(&self.path).extension().is_some_and(|e| e == "rs")
    }

    /// Parent folder and name without extension.
    fn folder_and_stem(&self) -> (&str, &str) {
        let (folder, name) = self.path.rsplit_once('/').unwrap_or(("", &self.path));
        (folder, name.split('.').next().unwrap_or(name))
    }

    /// The part of a Rust file that is only built for tests.
    fn test_lines(&self) -> impl Iterator<Item = (usize, &str)> {
        let all = self.path.starts_with("tests/")
            || self.path.contains("/tests/")
            || self.path.ends_with("tests.rs");
        let begin = if all {
            Some(0)
        } else {
            self.text.lines().position(|l| l.trim() == "#[cfg(test)]")
        };
        let lines = self.text.lines().enumerate();
        lines
            .skip(begin.unwrap_or(usize::MAX))
            .map(|(n, l)| (n + 1, l))
    }
}

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("..")
        .canonicalize()
        .unwrap()
}

/// All text files, without build output and the version control's own.
fn files() -> Vec<File> {
    let top = top();
    let mut files = Vec::new();
    let mut folders = vec![top.clone()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy();
            if matches!(&*name, ".git" | "target" | "__pycache__" | "node_modules") {
                continue;
            }
            if path.is_dir() {
                folders.push(path);
            } else if let Ok(text) = fs::read_to_string(&path) {
                let inside = path.strip_prefix(&top).unwrap();
                files.push(File::new(
                    &inside.to_string_lossy().replace('\\', "/"),
                    &text,
                ));
            }
        }
    }
    files.sort_by(|a, b| a.path.cmp(&b.path));
    assert!(
        files.len() > 50,
        "only {} files under {}",
        files.len(),
        top.display()
    );
    files
}

fn assert_none(what: &str, found: &[String]) {
    assert!(found.is_empty(), "{what}:\n  {}", found.join("\n  "));
}

fn check(what: &str, rule: impl Fn(&File) -> Vec<String>) {
    assert_none(what, &files().iter().flat_map(rule).collect::<Vec<_>>());
}

fn too_long(file: &File) -> Vec<String> {
    let lines = file.text.lines().count();
    let said = file.text.lines().take(HEADER_LINES).any(|l| {
        let rest = l.trim_start_matches("//!").trim_start();
        rest.strip_prefix(LONG_BECAUSE)
            .is_some_and(|why| !why.trim().is_empty())
    });
    if file.is_rust() && lines > LINES_MAX && !said {
        vec![format!("{}: {lines} lines", file.path)]
    } else {
        Vec::new()
    }
}

/// Words are put together here, so that this file does not find itself.
fn unfinished(file: &File) -> Vec<String> {
    let marks = [
        concat!("TO", "DO"),
        concat!("FIX", "ME"),
        concat!("XX", "X"),
        concat!("to", "do!("),
        concat!("unimple", "mented!("),
        concat!("#[ig", "nore"),
    ];
    let has_mark = |line: &str| marks.iter().any(|mark| has_word(line, mark));
    let lines = file.text.lines().enumerate();
    lines
        .filter(|(_, line)| has_mark(line))
        .map(|(n, line)| format!("{}:{}: {}", file.path, n + 1, line.trim()))
        .collect()
}

/// True where `word` stands in the line and is no part of a longer word.
fn has_word(line: &str, word: &str) -> bool {
    line.match_indices(word).any(|(at, _)| {
        let before = line.get(..at).and_then(|l| l.chars().next_back());
        let after = line.get(at + word.len()..).and_then(|l| l.chars().next());
        let joins = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_');
        !joins(before) && (word.ends_with('(') || !joins(after))
    })
}

fn sleeps_in_tests(file: &File) -> Vec<String> {
    let calls = [
        concat!("thread::sl", "eep"),
        concat!("time::sl", "eep"),
        concat!(" sl", "eep("),
    ];
    if !file.is_rust() {
        return Vec::new();
    }
    let slept = file
        .test_lines()
        .filter(|(_, l)| calls.iter().any(|call| l.contains(call)));
    slept
        .map(|(n, l)| format!("{}:{n}: {}", file.path, l.trim()))
        .collect()
}

/// Folders in which machines, not clones, keep things, and where this clone lies.
fn machine_paths(file: &File, clone: &str) -> Vec<String> {
    let folders = [
        concat!("/ho", "me/"),
        concat!("/ro", "ot/"),
        concat!("/wo", "rk/"),
        concat!("/Us", "ers/"),
        clone,
    ];
    let begins_path = |line: &str, at: usize| {
        let before = line.get(..at).and_then(|l| l.chars().next_back());
        before.is_none_or(|c| {
            !(c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | '*' | '}' | '~'))
        })
    };
    let names = |line: &str| {
        let mut hits = folders.iter().flat_map(|folder| line.match_indices(folder));
        hits.any(|(at, _)| begins_path(line, at))
    };
    let lines = file
        .text
        .lines()
        .enumerate()
        .filter(|(_, line)| names(line));
    lines
        .map(|(n, line)| format!("{}:{}: {}", file.path, n + 1, line.trim()))
        .collect()
}

/// Rust files that no other file names as a module: cargo does not build them.
fn unlisted(files: &[File]) -> Vec<String> {
    let is_root = |file: &File| {
        let (folder, stem) = file.folder_and_stem();
        let auto = ["tests", "examples", "benches", "src/bin"];
        matches!(stem, "main" | "lib" | "build" | "mod")
            || auto
                .iter()
                .any(|end| folder.ends_with(end) && !folder.ends_with("src/tests"))
    };
    let names_module = |parent: &File, stem: &str| {
        let line = format!("mod {stem};");
        parent.text.lines().any(|l| l.trim().ends_with(&line))
    };
    let is_listed = |file: &File| {
        let (folder, stem) = file.folder_and_stem();
        let beside = ["mod.rs", "main.rs", "lib.rs"].map(|name| format!("{folder}/{name}"));
        let above = format!("{folder}.rs");
        let mut parents = files
            .iter()
            .filter(|f| beside.contains(&f.path) || f.path == above);
        parents.any(|parent| names_module(parent, stem))
    };
    let rust = files
        .iter()
        .filter(|f| f.is_rust() && !is_root(f) && !is_listed(f));
    rust.map(|f| {
        format!(
            "{}: no file beside it says `mod {};`",
            f.path,
            f.folder_and_stem().1
        )
    })
    .collect()
}

fn impure(manifest: &File) -> Vec<String> {
    let folder = manifest.path.trim_end_matches("/Cargo.toml");
    if !manifest.path.ends_with("/Cargo.toml") || !PURE_CRATES.contains(&folder) {
        return Vec::new();
    }
    let names = manifest
        .text
        .lines()
        .filter_map(|l| l.split(['.', '=', ' ']).next());
    let bad = names.filter(|name| IMPURE.contains(name));
    bad.map(|name| format!("{}: depends on {name}", manifest.path))
        .collect()
}

#[test]
fn no_file_is_longer_than_a_person_reads_at_once() {
    check("files to split, or to say why not", too_long);
}

#[test]
fn nothing_is_left_unfinished_or_ignored() {
    check("left undone", unfinished);
}

#[test]
fn no_test_sleeps() {
    check(
        "tests that sleep; wait on state, with a bound",
        sleeps_in_tests,
    );
}

#[test]
fn no_file_names_a_path_of_a_machine() {
    let clone = format!("{}/", top().display());
    check("paths of a machine", |file| machine_paths(file, &clone));
}

#[test]
fn every_rust_file_is_built() {
    assert_none("files that cargo does not see", &unlisted(&files()));
}

#[test]
fn pure_crates_name_no_io_and_no_grpc() {
    check("dependencies of pure crates", impure);
}

#[test]
fn every_crate_inherits_the_lints() {
    let bare = files().into_iter().filter(|f| {
        f.path.ends_with("/Cargo.toml") && !f.text.contains("[lints]\nworkspace = true")
    });
    assert_none(
        "without the workspace's lints",
        &bare.map(|f| f.path).collect::<Vec<_>>(),
    );
}

#[test]
fn the_top_level_holds_what_the_layout_names() {
    let odd = fs::read_dir(top()).unwrap().filter_map(|entry| {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        let known = name.starts_with('.') || name == "target" || TOP_LEVEL.contains(&&*name);
        (!known).then_some(name)
    });
    assert_none("not in the layout", &odd.collect::<Vec<_>>());
}

#[test]
fn each_rule_finds_what_it_forbids() {
    let long = "// line\n".repeat(LINES_MAX + 1);
    assert_eq!(too_long(&File::new("a/b.rs", &long)).len(), 1);
    assert_eq!(
        too_long(&File::new(
            "a/b.rs",
            &format!("//! {LONG_BECAUSE}a table\n{long}")
        )),
        [""; 0]
    );
    assert_eq!(
        too_long(&File::new("a/b.rs", &format!("//! {LONG_BECAUSE}\n{long}"))).len(),
        1
    );

    for text in [
        "// TO_DO: later",
        "let x = to_do!();",
        "  #[ig_nore = \"slow\"]",
    ] {
        let text = text
            .replace("O_D", "OD")
            .replace("o_d", "od")
            .replace("g_n", "gn");
        assert_eq!(unfinished(&File::new("a.rs", &text)).len(), 1, "{text}");
    }
    assert_eq!(
        unfinished(&File::new("a.rs", "// todos are kept in issues")),
        [""; 0]
    );

    let slept = "std::thread::sl_eep(x);".replace('_', "");
    let guarded = format!("fn a() {{}}\n#[cfg(test)]\nmod tests {{ {slept} }}");
    assert_eq!(sleeps_in_tests(&File::new("tests/a.rs", &slept)).len(), 1);
    assert_eq!(
        sleeps_in_tests(&File::new("client/src/a.rs", &guarded)).len(),
        1
    );
    assert_eq!(
        sleeps_in_tests(&File::new("client/src/a.rs", &slept)),
        [""; 0]
    );

    let machine = "see /ho_me/ana/shop".replace('_', "");
    assert_eq!(
        machine_paths(&File::new("a.md", &machine), "/clone/").len(),
        1
    );
    assert_eq!(
        machine_paths(&File::new("a.md", "in '/clone/a'"), "/clone/").len(),
        1
    );
    let relative = "see ../ho_me/ana and $X/ho_me/".replace('_', "");
    assert_eq!(
        machine_paths(&File::new("a.md", &relative), "/clone/"),
        [""; 0]
    );

    let lost = [
        File::new("a/src/lib.rs", "pub mod b;"),
        File::new("a/src/b.rs", ""),
        File::new("a/src/c.rs", ""),
    ];
    assert_eq!(
        unlisted(&lost),
        ["a/src/c.rs: no file beside it says `mod c;`"]
    );
    let nested = [
        File::new("a/src/b.rs", "mod tests;"),
        File::new("a/src/b/tests.rs", ""),
    ];
    assert_eq!(
        unlisted(&nested).len(),
        1,
        "b.rs itself is not listed, its tests are"
    );

    let manifest = File::new(
        "daemon/floor/Cargo.toml",
        "[dependencies]\ntokio.workspace = true\nserde = \"1\"\n",
    );
    assert_eq!(
        impure(&manifest),
        ["daemon/floor/Cargo.toml: depends on tokio"]
    );
}
