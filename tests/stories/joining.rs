//! A shop gets its authority, a bay joins with a code, and is cut off.

use std::process::Output;

use baywright_tests::harness::{self, Daemon, daemon_command};

use crate::shop::Said;

/// A shop with certificates and its running daemon.
pub(crate) struct Joined {
    pub(crate) home: tempfile::TempDir,
    pub(crate) daemon: Daemon,
}

impl Joined {
    pub(crate) fn open() -> Self {
        let home = tempfile::tempdir().expect("a temporary folder");
        let data = home.path().join("server");
        let made = daemon_command(crate::binary(), &["init"], &data).expect("init runs");
        assert!(made.status.success(), "{}", text(&made));
        let daemon = Daemon::start(crate::binary(), &data).expect("a daemon");
        Self { home, daemon }
    }

    pub(crate) fn console(&self, args: &[&str]) -> Output {
        daemon_command(crate::binary(), args, &self.daemon.data).expect("the command runs")
    }

    /// A one-time code and the place to join at.
    fn code(&self, device: &str, role: &str) -> (String, String) {
        let given = self.console(&["enrol", device, "--role", role, "--json"]);
        assert!(given.status.success(), "{}", text(&given));
        let given: serde_json::Value = serde_json::from_slice(&given.stdout).expect("JSON");
        let place = format!("127.0.0.1:{}", given["join_port"]);
        (place, given["code"].as_str().expect("a code").to_owned())
    }

    /// `bay` on a device's own disk; no server is named.
    fn bay(&self, device: &str, args: &[&str]) -> Said {
        let data = self.home.path().join(device);
        harness::bay_at_home(crate::binary(), &data, args)
            .expect("bay runs")
            .into()
    }

    pub(crate) fn join(&self, device: &str, role: &str) {
        let (place, code) = self.code(device, role);
        let said = self.bay(device, &["join", &place, &code]).ok();
        assert!(said.contains(device), "{said}");
    }
}

pub(crate) fn text(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

#[test]
fn a_bay_joins_posts_under_its_name_and_is_cut_off() {
    let shop = Joined::open();
    // A fact from before the joining goes out after it, once.
    let kept = shop.bay("bay-2", &["note", "before the joining"]).ok();
    assert!(kept.contains("Kept"), "{kept}");
    shop.join("bay-2", "bay");
    let sent = shop.bay("bay-2", &["spool", "send"]).ok();
    assert!(!sent.is_empty());
    shop.bay(
        "bay-2",
        &["open", "unsorted", "red three-wheeler", "--anyway"],
    )
    .ok();
    // A bay sees the floor, and no figures.
    shop.bay("bay-2", &["now"]).ok();
    let week = shop.bay("bay-2", &["week"]);
    assert_eq!(week.code, 5, "{}{}", week.out, week.err);
    assert!(week.err.contains("owner"), "{}", week.err);
    // The owner's device sees what the bay posted, under the bay's name.
    shop.join("office", "owner");
    let story = shop.bay("office", &["job", "1"]).ok();
    assert!(story.contains("red three-wheeler"), "{story}");
    let events = shop.bay("office", &["export", "csv", "events"]).ok();
    assert!(events.contains("bay-2") && events.contains("before the joining"));
    let listed = text(&shop.console(&["devices"]));
    assert!(
        listed.contains("bay-2") && listed.contains("office"),
        "{listed}"
    );
    // Cut off: nothing is let in, and a fact stays on the bay's own disk.
    let cut = text(&shop.console(&["devices", "cut", "bay-2"]));
    assert!(cut.contains("cut off"), "{cut}");
    let now = shop.bay("bay-2", &["now"]);
    assert_eq!(now.code, 5, "{}{}", now.out, now.err);
    assert!(now.err.contains("cut off"), "{}", now.err);
    let note = shop.bay("bay-2", &["note", "after the theft"]);
    assert_eq!(note.code, 0, "{}{}", note.out, note.err);
    assert!(note.out.contains("Kept"), "{}", note.out);
    // The same name on another tablet, which brings nothing of the old one along.
    shop.join("bay-2-again", "bay");
    let events = shop.bay("office", &["export", "csv", "events"]).ok();
    assert!(!events.contains("after the theft"));
}

#[test]
fn a_code_is_good_once_and_for_five_tries() {
    let shop = Joined::open();
    let (place, code) = shop.code("bay-1", "bay");
    let wrong = format!("{}{}", &code[..code.len() - 5], "aaaaa");
    for _ in 0..5 {
        let said = shop.bay("bay-1", &["join", &place, &wrong]);
        assert_eq!(said.code, 5, "{}{}", said.out, said.err);
    }
    // The port is shut now: the right code came too late.
    let late = shop.bay("bay-1", &["join", &place, &code]);
    assert_eq!(late.code, 4, "{}{}", late.out, late.err);
    // A code of another authority meets a daemon that is none of it.
    let (place, code) = shop.code("bay-1", "bay");
    let stranger = format!("aaaa{}", &code[4..]);
    let said = shop.bay("bay-1", &["join", &place, &stranger]);
    assert_eq!(said.code, 4, "{}{}", said.out, said.err);
    assert!(said.err.contains("another"), "{}", said.err);
    shop.bay("bay-1", &["join", &place, &code]).ok();
    let again = shop.bay("bay-3", &["join", &place, &code]);
    assert_eq!(again.code, 4, "{}{}", again.out, again.err);
    let taken = shop.console(&["enrol", "bay-1", "--role", "bay"]);
    assert!(!taken.status.success());
    assert!(
        text(&taken).contains("cut it off first"),
        "{}",
        text(&taken)
    );
}

#[test]
fn without_a_certificate_nothing_is_answered_over_the_network() {
    let shop = Joined::open();
    let data = shop.home.path().join("stranger");
    let said: Said = harness::bay(
        crate::binary(),
        &data,
        &shop.daemon.address,
        "bay-9",
        ["now"],
    )
    .expect("bay runs")
    .into();
    assert_eq!(said.code, 4, "{}{}", said.out, said.err);
    assert!(said.err.contains("bay join"), "{}", said.err);
    // On the server itself the socket goes by who asks, and this is its owner.
    let socket = format!("unix:{}", shop.daemon.data.join("bay.sock").display());
    let said: Said = harness::bay(crate::binary(), &data, &socket, "bay-9", ["week"])
        .expect("bay runs")
        .into();
    said.ok();
}
