//! Where a request comes from.

use std::convert::Infallible;
use std::future::{Ready, ready};
use std::net::{IpAddr, Ipv4Addr};

use actix_web::dev::Payload;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest};
use ipnet::IpNet;

/// The proxies that are believed.
#[derive(Debug, Clone, Default)]
pub struct TrustedProxies(pub Vec<IpNet>);

/// The address a request comes from: the peer's, or of whom a believed proxy says that it asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Origin(pub IpAddr);

impl TrustedProxies {
    /// The address nearest to us that is none of our proxies: whatever stands further left may be made up.
    fn origin<'a>(&self, peer: IpAddr, forwarded: impl DoubleEndedIterator<Item = &'a str>) -> IpAddr {
        let is_ours =
            |address: &IpAddr| self.0.iter().any(|network| network.contains(&address.to_canonical()));
        let mut origin = peer;
        for hop in forwarded.rev() {
            if !is_ours(&origin) {
                break;
            }
            match hop.trim().parse() {
                Ok(address) => origin = address,
                Err(_) => break,
            }
        }
        origin
    }
}

impl FromRequest for Origin {
    type Error = Infallible;
    type Future = Ready<Result<Self, Infallible>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let peer = request.peer_addr().map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), |peer| peer.ip());
        let proxies = request.app_data::<Data<TrustedProxies>>().map(|proxies| proxies.as_ref().clone());
        let headers: Vec<&str> = request
            .headers()
            .get_all("x-forwarded-for")
            .filter_map(|header| header.to_str().ok())
            .flat_map(|header| header.split(','))
            .collect();
        ready(Ok(Origin(proxies.unwrap_or_default().origin(peer, headers.into_iter()))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(peer: &str, forwarded: &[&str], expected: &str) {
        let proxies = TrustedProxies(vec!["10.0.0.0/24".parse().unwrap(), "fd00::1/128".parse().unwrap()]);
        let origin = proxies.origin(peer.parse().unwrap(), forwarded.iter().copied());
        assert_eq!(origin.to_string(), expected, "{peer} {forwarded:?}");
    }

    #[test]
    fn only_our_proxies_are_believed_and_only_the_last_they_saw() {
        check("192.0.2.7", &["198.51.100.1"], "192.0.2.7");
        check("10.0.0.2", &["198.51.100.1"], "198.51.100.1");
        check("10.0.0.2", &["203.0.113.9", " 198.51.100.1"], "198.51.100.1");
        check("10.0.0.2", &["203.0.113.9", "198.51.100.1", "10.0.0.3"], "198.51.100.1");
        check("fd00::1", &["2001:db8::5"], "2001:db8::5");
        check("10.0.0.2", &[], "10.0.0.2");
        check("10.0.0.2", &["unknown"], "10.0.0.2");
    }
}
