//! `baywrightd devices`.

use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use baywright_proto::v1;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::{console, data_dir_of};
use crate::access::devices::{Devices, RoleWord};
use crate::access::{ACCESS_DIR, is_initialised};
use crate::args::{DevicesArgs, DevicesCommand};
use crate::clock::{Clock as _, SystemClock};
use crate::lock::DataLock;
use crate::service::access::line;

pub(super) fn run(args: &DevicesArgs) -> anyhow::Result<ExitCode> {
    let dir = data_dir_of(&args.data)?;
    if !is_initialised(&dir) {
        bail!(
            "there are no certificates in {} yet: run `baywrightd init`, then start the daemon again",
            dir.display()
        );
    }
    match &args.command {
        None => list(args, &dir)?,
        Some(DevicesCommand::Cut { device }) => cut(args, &dir, device)?,
    }
    Ok(ExitCode::SUCCESS)
}

fn list(args: &DevicesArgs, dir: &Path) -> anyhow::Result<()> {
    let asked = console::ask(dir, args.socket.as_deref(), async |mut access| {
        access.list_devices(v1::ListDevicesRequest {}).await
    })?;
    let is_running = asked.is_some();
    let devices = if let Some(answer) = asked {
        answer.devices
    } else {
        // Without a daemon the list is what is on the disk.
        let listed = Devices::load(&dir.join(ACCESS_DIR))?;
        listed.lines().into_iter().map(line).collect()
    };
    if args.json {
        let lines: Vec<_> = devices.iter().map(json).collect();
        println!("{}", serde_json::json!({ "devices": lines }));
        return Ok(());
    }
    if devices.is_empty() {
        println!("No device has joined yet: `baywrightd enrol bay-1 --role bay` prints a code.");
        return Ok(());
    }
    print_table(&devices);
    if !is_running {
        println!("\nNo daemon runs: nobody is connected.");
    }
    Ok(())
}

fn print_table(devices: &[v1::DeviceLine]) {
    let rows: Vec<[String; 6]> = devices.iter().map(row).collect();
    let heads = [
        "DEVICE",
        "ROLE",
        "SINCE",
        "CERTIFICATE",
        "OPEN",
        "LAST CALL",
    ]
    .map(str::to_owned);
    let mut widths = [0; 6];
    for row in std::iter::once(&heads).chain(&rows) {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    for row in std::iter::once(&heads).chain(&rows) {
        let cells: Vec<String> = row
            .iter()
            .zip(widths)
            .map(|(cell, width)| format!("{cell:width$}"))
            .collect();
        println!("{}", cells.join("  ").trim_end());
    }
}

fn row(device: &v1::DeviceLine) -> [String; 6] {
    let role = RoleWord::of(device.role()).map_or("?", RoleWord::word);
    let certificate = match (device.cut_off_us, device.user_id) {
        (0, Some(user_id)) => format!("user {user_id} here"),
        (0, None) => format!("to {}", day(device.expires_us)),
        (cut_off_us, _) => format!("cut off {}", day(cut_off_us)),
    };
    [
        device.device.clone(),
        role.to_owned(),
        day(device.enrolled_us),
        certificate,
        device.connections.to_string(),
        match device.seen_us {
            0 => "-".to_owned(),
            seen_us => minute(seen_us),
        },
    ]
}

fn json(device: &v1::DeviceLine) -> serde_json::Value {
    serde_json::json!({
        "device": device.device,
        "role": RoleWord::of(device.role()).map(RoleWord::word),
        "user_id": device.user_id,
        "enrolled_us": device.enrolled_us,
        "expires_us": device.expires_us,
        "seen_us": device.seen_us,
        "connections": device.connections,
        "cut_off_us": device.cut_off_us,
    })
}

/// This computer's zone, where it names one.
fn local(at_us: i64) -> Option<DateTime> {
    let at = jiff::Timestamp::from_microsecond(at_us).ok()?;
    Some(
        TimeZone::try_system()
            .unwrap_or(TimeZone::UTC)
            .to_datetime(at),
    )
}

fn day(at_us: i64) -> String {
    local(at_us).map_or_else(String::new, |at| at.strftime("%Y-%m-%d").to_string())
}

fn minute(at_us: i64) -> String {
    local(at_us).map_or_else(String::new, |at| at.strftime("%Y-%m-%d %H:%M").to_string())
}

fn cut(args: &DevicesArgs, dir: &Path, device: &str) -> anyhow::Result<()> {
    let request = v1::CutOffRequest {
        device: device.to_owned(),
    };
    let asked = console::ask(dir, args.socket.as_deref(), async |mut access| {
        access.cut_off(request).await
    })?;
    let connections = if let Some(answer) = asked {
        answer.connections
    } else {
        // Nobody else may write the list meanwhile.
        let _lock = DataLock::take(dir).context("the daemon does not answer")?;
        Devices::load(&dir.join(ACCESS_DIR))?.cut_off(device, SystemClock.now().0)?
    };
    if args.json {
        let line = serde_json::json!({ "device": device, "connections_ended": connections });
        println!("{line}");
    } else {
        let ended = match connections {
            0 => "it had nothing open".to_owned(),
            1 => "its one connection was ended".to_owned(),
            more => format!("its {more} connections were ended"),
        };
        println!("{device} is cut off; {ended}. Its certificate opens nothing any more.");
        println!("What it posted stays. Facts still on it are in its spool, on its own disk.");
    }
    Ok(())
}
