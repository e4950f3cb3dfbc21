//! The targets, by what they read.

pub mod access;
pub mod amounts;
pub mod catalogue;
pub mod facts;
pub mod floor;
pub mod hours;
pub mod import;
pub mod line;
pub mod post;
pub mod screen;
pub mod spool;
pub mod words;

use crate::Target;

/// All of them.
pub const ALL: &[Target] = &[
    amounts::AMOUNTS,
    amounts::MONEY,
    words::TIMES,
    words::AIR,
    words::CODES,
    words::SERVERS,
    hours::HOURS,
    catalogue::FILE,
    catalogue::MESSAGE,
    post::POST,
    post::APPEND,
    post::RECORD,
    floor::FLOOR,
    facts::FACTS,
    spool::DAMAGE,
    spool::ANY_FILE,
    spool::CACHE,
    import::IMPORT,
    line::LINE,
    line::CONFIG,
    screen::SCREEN,
    access::JOIN_CODE,
    access::DEVICES,
    access::CERTIFICATE,
];
