//! The endpoint: QUIC between devices on the same network, and nothing else.
//!
//! Relays, outside look-ups, port mapping and network probes are off. Who is at the other end is
//! known by its key before the first byte: iroh's TLS 1.3 authenticates both sides by their
//! Ed25519 keys and encrypts everything.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use iroh::endpoint::{
    Connection, NetReportConfig, PortmapperConfig, QuicTransportConfig, VarInt, presets,
};
use iroh::{Endpoint, EndpointAddr, RelayMode, SecretKey, TransportAddr};
use iroh_mdns_address_lookup::MdnsAddressLookup;
use noq_proto::congestion::Bbr3Config;

use crate::error::{CrewError, Result};
use crate::options::NetOptions;
use crate::roster::MemberId;
use crate::wire::{ALPN_CREW, ALPN_JOIN, ALPN_PHOTOS};

/// A connection that nothing comes through for so long is given up.
const SILENCE_MAX: Duration = Duration::from_secs(15);
/// Otherwise silent connections are kept open by a small packet this often.
const KEEP_ALIVE: Duration = Duration::from_secs(5);
/// Streams that the other side may have open at a time on one connection.
const STREAMS_MAX: u32 = 32;
/// Bytes in flight to us on one stream and one connection: what a hostile peer can make us hold.
const STREAM_WINDOW: u32 = 4 * 1024 * 1024;
const CONNECTION_WINDOW: u32 = 16 * 1024 * 1024;

/// The name under which devices look for each other by mDNS.
const SERVICE: &str = "datumtrail";

fn transport() -> QuicTransportConfig {
    QuicTransportConfig::builder()
        // The default congestion control takes loss for congestion and crawls on bad radio.
        .congestion_controller_factory(Arc::new(Bbr3Config::default()))
        .max_idle_timeout(Some(
            SILENCE_MAX
                .try_into()
                .expect("fifteen seconds are in range"),
        ))
        .keep_alive_interval(KEEP_ALIVE)
        .max_concurrent_bidi_streams(VarInt::from_u32(STREAMS_MAX))
        .max_concurrent_uni_streams(VarInt::from_u32(0))
        .stream_receive_window(VarInt::from_u32(STREAM_WINDOW))
        .receive_window(VarInt::from_u32(CONNECTION_WINDOW))
        .send_window(u64::from(CONNECTION_WINDOW))
        .datagram_receive_buffer_size(None)
        .build()
}

/// Opens the sockets.
pub(crate) async fn bind(
    key: &SecretKey,
    options: &NetOptions,
    last_port: u16,
) -> Result<Endpoint> {
    let wanted = if options.port == 0 {
        last_port
    } else {
        options.port
    };
    match bind_at(key, options, wanted).await {
        Err(why) if options.port == 0 && wanted != 0 => {
            tracing::info!(port = wanted, %why, "the last port is taken");
            bind_at(key, options, 0).await
        }
        other => other,
    }
}

async fn bind_at(key: &SecretKey, options: &NetOptions, port: u16) -> Result<Endpoint> {
    let network = |e: &dyn std::fmt::Display| CrewError::Network(e.to_string());
    let mut builder = Endpoint::builder(presets::Minimal)
        .secret_key(key.clone())
        .alpns(vec![
            ALPN_CREW.to_vec(),
            ALPN_PHOTOS.to_vec(),
            ALPN_JOIN.to_vec(),
        ])
        .relay_mode(RelayMode::Disabled)
        .portmapper_config(PortmapperConfig::Disabled)
        .net_report_config(NetReportConfig::minimal())
        .transport_config(transport())
        .clear_address_lookup();
    if options.bind.is_empty() {
        if port != 0 {
            builder = builder
                .bind_addr(SocketAddr::from(([0, 0, 0, 0], port)))
                .map_err(|e| network(&e))?;
        }
    } else {
        builder = builder.clear_ip_transports();
        for address in &options.bind {
            let address = SocketAddr::new(address.ip(), address.port().max(port));
            builder = builder.bind_addr(address).map_err(|e| network(&e))?;
        }
    }
    builder.bind().await.map_err(|e| network(&e))
}

/// Starts announcing and looking. Does nothing where the network has no multicast; it is tried
/// again when the network changes.
pub(crate) fn discover(endpoint: &Endpoint) -> Option<MdnsAddressLookup> {
    let lookups = endpoint.address_lookup().ok()?;
    lookups.clear();
    match MdnsAddressLookup::builder()
        .service_name(SERVICE)
        .build(endpoint.id())
    {
        Ok(mdns) => {
            lookups.add(mdns.clone());
            Some(mdns)
        }
        Err(e) => {
            tracing::warn!(error = %e, "no discovery on this network");
            None
        }
    }
}

/// An address to dial: the key, and where it may be.
pub(crate) fn at(member: MemberId, addresses: &[SocketAddr]) -> EndpointAddr {
    EndpointAddr::from_parts(member, addresses.iter().map(|a| TransportAddr::Ip(*a)))
}

/// Where this device can be reached on its own network, the likeliest first.
pub(crate) fn own_addresses(endpoint: &Endpoint) -> Vec<SocketAddr> {
    let mut all: Vec<SocketAddr> = endpoint.addr().ip_addrs().copied().collect();
    for bound in endpoint.bound_sockets() {
        if !bound.ip().is_unspecified() {
            all.push(bound);
        }
    }
    all.sort_by_key(|address| match address.ip() {
        IpAddr::V4(ip) if ip.is_private() => 0,
        IpAddr::V4(ip) if !ip.is_loopback() => 1,
        IpAddr::V6(ip) if ip.is_unique_local() => 2,
        IpAddr::V6(ip) if !ip.is_loopback() => 3,
        _ => 4,
    });
    all.dedup();
    all
}

/// Where the other end of a connection is now.
pub(crate) fn address_of(connection: &Connection) -> Option<SocketAddr> {
    let paths = connection.paths();
    let address = |path: &iroh::endpoint::Path<'_>| match path.remote_addr() {
        TransportAddr::Ip(address) => Some(*address),
        _ => None,
    };
    let selected = paths.iter().find(|path| path.is_selected());
    selected
        .as_ref()
        .and_then(address)
        .or_else(|| paths.iter().find_map(|path| address(&path)))
}
