//! `fieldstow healthcheck`: asks the running server whether it is well.
//!
//! It is its own small HTTP client so that a container needs no other program for it.

use std::io::{self, Read, Write};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpStream};
use std::process::ExitCode;
use std::time::Duration;

use crate::config::HealthcheckOptions;

/// For each step: connecting, asking, reading.
const PATIENCE: Duration = Duration::from_secs(3);

pub fn run(options: &HealthcheckOptions) -> anyhow::Result<ExitCode> {
    let address = reachable(options.address.address);
    match ask(address) {
        Ok(200) => {
            println!("The server at {address} is well.");
            Ok(ExitCode::SUCCESS)
        }
        Ok(status) => anyhow::bail!("the server at {address} is not well: it answered {status}"),
        Err(error) => anyhow::bail!("the server at {address} does not answer: {error}"),
    }
}

/// Where to reach a server that listens on `address`: "all addresses" is none to connect to.
fn reachable(mut address: SocketAddr) -> SocketAddr {
    match address.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => address.set_ip(Ipv4Addr::LOCALHOST.into()),
        IpAddr::V6(ip) if ip.is_unspecified() => address.set_ip(Ipv6Addr::LOCALHOST.into()),
        _ => {}
    }
    address
}

/// The status of `/healthz`.
fn ask(address: SocketAddr) -> io::Result<u16> {
    let mut stream = TcpStream::connect_timeout(&address, PATIENCE)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    // In one piece: two writes would be two packets.
    let request = format!("GET /healthz HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes())?;
    // "HTTP/1.1 200" is all that matters.
    let mut beginning = [0; 12];
    stream.read_exact(&mut beginning)?;
    status_of(&beginning).ok_or_else(|| io::Error::other("it does not speak HTTP"))
}

fn status_of(beginning: &[u8; 12]) -> Option<u16> {
    let text = std::str::from_utf8(beginning).ok()?;
    let status = text.strip_prefix("HTTP/1.1 ")?;
    status.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_addresses_are_reached_at_this_machine() {
        for (listening, reached) in [
            ("0.0.0.0:8765", "127.0.0.1:8765"),
            ("[::]:8765", "[::1]:8765"),
            ("192.0.2.7:80", "192.0.2.7:80"),
        ] {
            let address = reachable(listening.parse().unwrap());
            assert_eq!(address.to_string(), reached);
        }
    }

    #[test]
    fn the_status_is_read_from_the_first_line() {
        assert_eq!(status_of(b"HTTP/1.1 200"), Some(200));
        assert_eq!(status_of(b"HTTP/1.1 503"), Some(503));
        assert_eq!(status_of(b"SSH-2.0-xxxx"), None);
        assert_eq!(status_of(b"HTTP/1.1 \xff\xff\xff"), None);
    }
}
