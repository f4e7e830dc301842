//! The address people type.

use std::fmt;
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::str::FromStr;

use axum::http::Uri;

/// The address people type: scheme, host and perhaps a port, nothing behind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PublicUrl {
    https: bool,
    /// Host and port as a browser sends them: lower case, the scheme's own port left out.
    host: String,
}

impl PublicUrl {
    /// The address of a server on `port` for somebody at the machine itself.
    pub fn local(port: u16) -> Self {
        PublicUrl {
            https: false,
            host: if port == 80 {
                "localhost".into()
            } else {
                format!("localhost:{port}")
            },
        }
    }

    pub fn is_https(&self) -> bool {
        self.https
    }

    /// Every name the server is to answer to when it listens on `bound`.
    ///
    /// Names of this machine are always among them: they cannot be made to point elsewhere, and
    /// the health check and a person at the machine use them.
    pub fn hosts(&self, bound: SocketAddr) -> Vec<String> {
        let port = bound.port();
        let mut hosts = vec![self.host.clone()];
        if !has_port(&self.host) {
            // Some proxies add the port that a browser leaves out.
            hosts.push(format!(
                "{}:{}",
                self.host,
                if self.https { 443 } else { 80 }
            ));
        }
        let local = [
            format!("localhost:{port}"),
            SocketAddr::from((Ipv4Addr::LOCALHOST, port)).to_string(),
            SocketAddr::from((Ipv6Addr::LOCALHOST, port)).to_string(),
        ];
        hosts.extend(local);
        if !bound.ip().is_unspecified() {
            hosts.push(bound.to_string());
        }
        // A browser leaves out port 80.
        if port == 80 {
            let without = |host: &String| host.strip_suffix(":80").map(str::to_owned);
            let bare: Vec<_> = hosts.iter().filter_map(without).collect();
            hosts.extend(bare);
        }
        hosts.sort_unstable();
        hosts.dedup();
        hosts
    }
}

fn has_port(host: &str) -> bool {
    // The colons of an IPv6 address stand inside its brackets.
    host.rsplit(']').next().is_some_and(|end| end.contains(':'))
}

impl fmt::Display for PublicUrl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let scheme = if self.https { "https" } else { "http" };
        write!(f, "{scheme}://{}", self.host)
    }
}

/// Why a public URL cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UrlRefused {
    #[error("it must look like https://kits.example or http://localhost:8765")]
    NotAUrl,
    #[error("it must begin with https:// or http://")]
    Scheme,
    #[error("only a host and perhaps a port may follow the //, no path and no name with @")]
    MoreThanAHost,
}

impl FromStr for PublicUrl {
    type Err = UrlRefused;

    fn from_str(text: &str) -> Result<Self, UrlRefused> {
        let url: Uri = text.trim().parse().map_err(|_| UrlRefused::NotAUrl)?;
        let https = match url.scheme_str() {
            Some("https") => true,
            Some("http") => false,
            Some(_) => return Err(UrlRefused::Scheme),
            None => return Err(UrlRefused::NotAUrl),
        };
        let authority = url.authority().ok_or(UrlRefused::NotAUrl)?;
        let only_host = matches!(url.path(), "" | "/") && url.query().is_none();
        if !only_host || authority.as_str().contains('@') || text.contains('#') {
            return Err(UrlRefused::MoreThanAHost);
        }
        if authority.host().is_empty() {
            return Err(UrlRefused::NotAUrl);
        }
        let usual_port = if https { 443 } else { 80 };
        let host = authority.host().to_ascii_lowercase();
        let host = match authority.port() {
            Some(port) if port.as_u16() != usual_port => format!("{host}:{}", port.as_u16()),
            Some(_) => host,
            // "http://host:" and a port out of range have a colon and no port.
            None if has_port(authority.as_str()) => return Err(UrlRefused::NotAUrl),
            None => host,
        };
        Ok(PublicUrl { https, host })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_public_url_is_a_scheme_and_a_host() {
        for (text, url) in [
            ("https://kits.example", Ok("https://kits.example")),
            ("https://Kits.Example/", Ok("https://kits.example")),
            ("https://kits.example:443", Ok("https://kits.example")),
            ("http://kits.example:443", Ok("http://kits.example:443")),
            ("http://kits.example:80", Ok("http://kits.example")),
            ("http://localhost:8765", Ok("http://localhost:8765")),
            ("http://[::1]:8765", Ok("http://[::1]:8765")),
            ("http://[::1]", Ok("http://[::1]")),
            ("kits.example", Err(UrlRefused::NotAUrl)),
            ("/kits", Err(UrlRefused::NotAUrl)),
            ("", Err(UrlRefused::NotAUrl)),
            ("https://", Err(UrlRefused::NotAUrl)),
            ("https://kits.example:", Err(UrlRefused::NotAUrl)),
            ("https://kits.example:99999", Err(UrlRefused::NotAUrl)),
            ("ftp://kits.example", Err(UrlRefused::Scheme)),
            ("https://kits.example/stow", Err(UrlRefused::MoreThanAHost)),
            ("https://kits.example/?a=b", Err(UrlRefused::MoreThanAHost)),
            ("https://me@kits.example", Err(UrlRefused::MoreThanAHost)),
        ] {
            let parsed = text.parse::<PublicUrl>().map(|url| url.to_string());
            assert_eq!(parsed, url.map(str::to_owned), "{text:?}");
        }
    }

    #[test]
    fn the_server_answers_to_its_public_name_and_to_this_machine() {
        for (url, bound, hosts) in [
            (
                "https://kits.example",
                "0.0.0.0:8765",
                vec![
                    "127.0.0.1:8765",
                    "[::1]:8765",
                    "kits.example",
                    "kits.example:443",
                    "localhost:8765",
                ],
            ),
            (
                "http://localhost:8765",
                "192.0.2.7:8765",
                vec![
                    "127.0.0.1:8765",
                    "192.0.2.7:8765",
                    "[::1]:8765",
                    "localhost:8765",
                ],
            ),
            (
                "http://localhost",
                "[::1]:80",
                vec![
                    "127.0.0.1",
                    "127.0.0.1:80",
                    "[::1]",
                    "[::1]:80",
                    "localhost",
                    "localhost:80",
                ],
            ),
        ] {
            let url: PublicUrl = url.parse().unwrap();
            assert_eq!(url.hosts(bound.parse().unwrap()), hosts, "{url} {bound}");
        }
    }
}
