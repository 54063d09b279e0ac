"""Prints each IP frame that passes an interface: where from, where to, what is in it."""

import ipaddress
import json
import socket
import sys

s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.ntohs(3))
s.bind((sys.argv[1], 0))
while True:
    frame, _ = s.recvfrom(65535)
    kind = int.from_bytes(frame[12:14], "big")
    body = frame[14:]
    if kind == 0x0800:
        source, to = body[12:16], body[16:20]
        protocol, rest = body[9], body[(body[0] & 15) * 4 :]
    elif kind == 0x86DD:
        source, to = body[8:24], body[24:40]
        protocol, rest = body[6], body[40:]
    else:
        continue
    print(
        json.dumps(
            {
                "from": str(ipaddress.ip_address(source)),
                "to": str(ipaddress.ip_address(to)),
                "protocol": protocol,
                "port": int.from_bytes(rest[2:4], "big") if protocol in (6, 17) else None,
                "payload": rest.hex(),
            }
        ),
        flush=True,
    )
