//! Addresses of this computer, for the person who carries one to a bay.

use std::net::Ipv4Addr;

/// Where Linux lists the addresses it answers to. Through the process itself:
/// the rest of `/proc` is hidden from the service (`ProcSubset=pid`).
const FIB_TRIE: &str = "/proc/self/net/fib_trie";

/// The IPv4 addresses of this computer that another one may reach it by, each
/// once; empty where the system does not say.
pub fn of_this_computer() -> Vec<Ipv4Addr> {
    std::fs::read_to_string(FIB_TRIE).map_or_else(|_| Vec::new(), |text| local(&text))
}

/// Reads the kernel's routing trie: a leaf `|-- ADDRESS` followed by
/// `/32 host LOCAL` is an address of this computer.
fn local(trie: &str) -> Vec<Ipv4Addr> {
    let mut found = Vec::new();
    let mut last: Option<Ipv4Addr> = None;
    for line in trie.lines().map(str::trim) {
        if let Some(address) = line.strip_prefix("|-- ") {
            last = address.parse().ok();
        } else if line == "/32 host LOCAL"
            && let Some(address) = last
            && !address.is_loopback()
            && !found.contains(&address)
        {
            found.push(address);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn local_addresses_are_read_and_nothing_else() {
        let trie = "\
Main:
  +-- 0.0.0.0/0 3 0 5
     |-- 0.0.0.0
        /0 universe UNICAST
     +-- 127.0.0.0/8 2 0 2
        +-- 127.0.0.0/31 1 0 0
           |-- 127.0.0.0
              /8 host LOCAL
           |-- 127.0.0.1
              /32 host LOCAL
     |-- 192.0.2.0
        /24 link UNICAST
     |-- 192.0.2.7
        /32 host LOCAL
     |-- 192.0.2.255
        /32 link BROADCAST
Local:
     |-- 192.0.2.7
        /32 host LOCAL
";
        assert_eq!(local(trie), [Ipv4Addr::new(192, 0, 2, 7)]);
        assert_eq!(local("no trie"), Vec::<Ipv4Addr>::new());
    }
}
