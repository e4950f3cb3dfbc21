//! A daemon that was restored from a backup, and what its bays do about it.

use super::*;
use crate::delivery::Noticed::{Restored, RestoredUnsent, RestoredWhole};
use crate::delivery::step;

fn looked(device: &mut Device, fake: &Fake) -> Option<Noticed> {
    let mut link = Link::new(fake.server());
    runtime().block_on(async {
        let channel = link.channel().await.unwrap();
        device.look(&channel).await.unwrap()
    })
}

/// The daemon is put back to its first `kept` posts.
fn restore(fake: &Fake, kept: usize, restored_device_seq: u64) {
    let mut state = fake.state();
    state.log.truncate(kept);
    state.epoch += 1;
    state.restored_device_seq = Some(restored_device_seq);
}

fn posted(texts: &[&str]) -> (TempDir, Device, Fake) {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    let fake = Fake::start();
    for text in texts {
        assert!(is_acknowledged(&post(&mut device, fake.server(), text)));
    }
    (folder, device, fake)
}

#[test]
fn a_command_that_only_asks_sends_again_what_was_lost_and_says_so_once() {
    let (folder, mut bay, fake) = posted(&["1", "2", "3"]);
    assert_eq!(looked(&mut bay, &fake), None);
    restore(&fake, 1, 1);
    let said = looked(&mut bay, &fake);
    assert_eq!(said, Some(Restored { is_complete: true }));
    assert_eq!(fake.notes(), ["1", "2", "3"]);
    assert_eq!(looked(&mut bay, &fake), None);
    drop(bay);
    assert_eq!(looked(&mut device(&folder), &fake), None);
    assert_eq!(fake.notes(), ["1", "2", "3"]);
}

#[test]
fn a_backup_that_had_everything_is_said_to_have_had_it() {
    let (_folder, mut bay, fake) = posted(&["1", "2"]);
    restore(&fake, 2, 2);
    assert_eq!(looked(&mut bay, &fake), Some(RestoredWhole));
    assert_eq!(looked(&mut bay, &fake), None);
}

#[test]
fn a_device_that_never_posted_finds_out_nothing() {
    let (_folder, mut bay, fake) = posted(&[]);
    restore(&fake, 0, 0);
    assert_eq!(looked(&mut bay, &fake), None);
}

#[test]
fn what_cannot_be_sent_again_at_once_waits_for_the_next_post() {
    let (_folder, mut bay, fake) = posted(&["1", "2"]);
    restore(&fake, 0, 0);
    fake.state().faults.push_back(Fault::IsBusy);
    assert_eq!(looked(&mut bay, &fake), Some(RestoredUnsent));
    assert_eq!(bay.spool().posts().waiting().len(), 2);
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "3")));
    assert_eq!(fake.notes(), ["1", "2", "3"]);
}

#[test]
fn the_first_receipt_goes_along_also_after_the_spool_was_written_anew() {
    let folder = TempDir::new().unwrap();
    let fake = Fake::start();
    let mut bay = device(&folder);
    fake.state().job = (118, String::new());
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "1")));
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "2")));
    restore(&fake, 1, 1);
    fake.state().faults.push_back(Fault::IsBusy);
    assert_eq!(looked(&mut bay, &fake), Some(RestoredUnsent));
    bay.spool_mut().write_anew().unwrap();
    drop(bay);
    let mut bay = device(&folder);
    runtime()
        .block_on(bay.deliver(&mut Link::new(fake.server())))
        .unwrap();
    let first = fake.state().log[1].first_receipt;
    let at_us = 1_795_000_000_000_000;
    assert_eq!(
        first,
        Some(v1::FirstReceipt {
            occurred_us: at_us,
            received_us: at_us,
            job_number: 118,
        })
    );
    // A post that was never acknowledged has none, and another log is told none.
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "3")));
    assert_eq!(fake.state().log[2].first_receipt, None);
    restore(&fake, 1, 1);
    fake.state().faults.push_back(Fault::IsBusy);
    assert_eq!(looked(&mut bay, &fake), Some(RestoredUnsent));
    let other = Fake::start();
    other.state().log_id = vec![2; 16];
    assert!(is_acknowledged(&post(&mut bay, other.server(), "4")));
    let told: Vec<_> = other.state().log.iter().map(|s| s.first_receipt).collect();
    assert_eq!(told, [None, None, None]);
}

#[test]
fn posts_under_higher_numbers_since_the_restore_do_not_hide_what_was_lost() {
    let (folder, bay, fake) = posted(&["1", "2"]);
    // The bay's disk is copied, the bay goes on, both are lost: the daemon goes
    // back to its backup, and somebody posts from the old copy of the bay.
    let old = std::fs::read(folder.path().join("spool")).unwrap();
    drop(bay);
    let mut bay = device(&folder);
    for text in ["3", "4"] {
        assert!(is_acknowledged(&post(&mut bay, fake.server(), text)));
    }
    let new = std::fs::read(folder.path().join("spool")).unwrap();
    drop(bay);
    restore(&fake, 1, 1);
    std::fs::write(folder.path().join("spool"), old).unwrap();
    let mut bay = device(&folder);
    for text in ["5", "6", "7"] {
        assert!(is_acknowledged(&post(&mut bay, fake.server(), text)));
    }
    assert_eq!(fake.notes(), ["1", "2", "5", "6", "7"]);
    drop(bay);
    // Then the bay's own disk is found.
    std::fs::write(folder.path().join("spool"), new).unwrap();
    let mut bay = device(&folder);
    let said = looked(&mut bay, &fake);
    assert_eq!(said, Some(Restored { is_complete: true }));
    assert_eq!(fake.notes(), ["1", "2", "5", "6", "7", "3", "4"]);
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "8")));
    assert_eq!(fake.notes().len(), 8);
}

#[test]
fn a_post_asks_now_and_then_what_is_in_a_backup() {
    let folder = TempDir::new().unwrap();
    let fake = Fake::start();
    let at = |wall_us: i64| {
        let clocks = SetClocks::new(1_795_000_000_000_000 + wall_us, "boot", 1_000_000);
        Device::open(folder.path(), Arc::new(clocks)).unwrap()
    };
    assert!(is_acknowledged(&post(&mut at(0), fake.server(), "1")));
    fake.state().backed_up_device_seq = 1;
    let minute_us = 60_000_000;
    let mut bay = at(50 * minute_us);
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "2")));
    assert_eq!(bay.spool().posts().backed_up_device_seq, 0);
    let mut bay = at(61 * minute_us);
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "3")));
    assert_eq!(bay.spool().posts().backed_up_device_seq, 1);
    // A restore that lost nothing of this bay is found out by it as well.
    restore(&fake, 3, 3);
    let mut bay = at(180 * minute_us);
    let Posted::Acknowledged(fourth) = post(&mut bay, fake.server(), "4").unwrap() else {
        panic!("not acknowledged");
    };
    assert_eq!(fourth.older.noticed, Some(RestoredWhole));
}

/// Such a device could not ask before it had joined: what it had acknowledged
/// goes out again then, under its new name or its old one.
#[test]
fn a_device_that_joins_anew_after_a_restore_brings_what_was_lost() {
    for (is_restored, name) in [(true, "bay-9"), (true, ""), (false, "bay-9")] {
        let (_folder, mut bay, fake) = posted(&["1", "2", "3", "4"]);
        if is_restored {
            restore(&fake, 2, 2);
        }
        if !name.is_empty() {
            bay.spool_mut().rename(name).unwrap();
        }
        let mut link = Link::new(fake.server());
        runtime().block_on(async {
            let channel = link.channel().await.unwrap();
            step::start_over(&mut bay, &channel).await.unwrap();
        });
        let again = bay.spool().posts().waiting().len();
        assert_eq!(again > 0, is_restored, "{again} posts go out again");
        let mut link = Link::new(fake.server());
        runtime().block_on(bay.deliver(&mut link)).unwrap();
        assert_eq!(fake.notes(), ["1", "2", "3", "4"], "{name:?}");
        assert!(bay.spool().posts().waiting().is_empty());
    }
}
