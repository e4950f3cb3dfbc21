//! Clocks for a shop whose past is a story: the wall and boot clocks of any
//! instant, as a bay with a given error would have read them.

use baywright_client::clock::{Clocks, MachineClocks};
use baywright_proto::v1;
use baywright_terms::time::Micros;

/// The clocks of a bay that has been on since long before the story began.
#[derive(Debug)]
pub struct StoryClocks {
    machine: MachineClocks,
    /// This bay's wall clock minus the truth.
    wall_error_us: i64,
    /// The truth at boot.
    booted: Micros,
    boot_id: String,
}

impl StoryClocks {
    /// A bay that booted at `booted`; its wall clock is off by `wall_error_us`.
    pub fn new(boot_id: &str, booted: Micros, wall_error_us: i64) -> Self {
        Self {
            machine: MachineClocks::default(),
            wall_error_us,
            booted,
            boot_id: boot_id.to_owned(),
        }
    }

    /// What the clocks read at a true instant.
    pub fn at(&self, truth: Micros) -> v1::Clocks {
        v1::Clocks {
            wall_us: truth.0.saturating_add(self.wall_error_us),
            boot_id: self.boot_id.clone(),
            boot_us: truth.0.saturating_sub(self.booted.0),
        }
    }

    fn now(&self) -> v1::Clocks {
        self.at(Micros(self.machine.wall_us()))
    }
}

impl Clocks for StoryClocks {
    fn wall_us(&self) -> i64 {
        self.now().wall_us
    }

    fn boot_id(&self) -> String {
        self.boot_id.clone()
    }

    fn boot_us(&self) -> i64 {
        self.now().boot_us
    }
}

/// The clocks of this machine, moved: what a device reads whose wall clock is
/// off, that was started anew, or on which it is another moment.
#[derive(Debug)]
pub struct SkewedClocks {
    machine: MachineClocks,
    /// Added to the machine's wall clock.
    wall_us: i64,
    boot_id: String,
    /// Added to the machine's boot clock.
    boot_us: i64,
}

impl SkewedClocks {
    pub fn new(wall_us: i64, boot_id: &str, boot_us: i64) -> Self {
        Self {
            machine: MachineClocks::default(),
            wall_us,
            boot_id: boot_id.to_owned(),
            boot_us,
        }
    }

    /// As it is handed to another process.
    pub fn write(&self) -> String {
        format!("{},{},{}", self.wall_us, self.boot_us, self.boot_id)
    }

    /// Reads what [`SkewedClocks::write`] wrote.
    pub fn read(text: &str) -> Option<Self> {
        let mut parts = text.splitn(3, ',');
        let wall_us = parts.next()?.parse().ok()?;
        let boot_us = parts.next()?.parse().ok()?;
        Some(Self::new(wall_us, parts.next()?, boot_us))
    }
}

impl Clocks for SkewedClocks {
    fn wall_us(&self) -> i64 {
        self.machine.wall_us().saturating_add(self.wall_us)
    }

    fn boot_id(&self) -> String {
        self.boot_id.clone()
    }

    fn boot_us(&self) -> i64 {
        self.machine.boot_us().saturating_add(self.boot_us)
    }
}
