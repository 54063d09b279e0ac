"""Carries frames between two interfaces, each late, some never.

forwarder.py ONE OTHER DELAY_MS LOSS_PERCENT, in both directions, until it is killed.
"""

import heapq
import random
import select
import socket
import sys
import time

one, other, delay, loss = sys.argv[1], sys.argv[2], float(sys.argv[3]) / 1000, float(sys.argv[4])
random.seed(7)


def listen(name):
    every = socket.ntohs(3)
    s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, every)
    s.bind((name, 0))
    s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 8 << 20)
    s.setblocking(False)
    return s


ends = [listen(one), listen(other)]
late = []
number = 0
while True:
    wait = max(0.0, late[0][0] - time.monotonic()) if late else None
    ready, _, _ = select.select(ends, [], [], wait)
    now = time.monotonic()
    for end in ready:
        to = ends[1 - ends.index(end)]
        for _ in range(64):
            try:
                frame, where = end.recvfrom(65535)
            except BlockingIOError:
                break
            # What this program itself sent comes by again.
            if where[2] == socket.PACKET_OUTGOING:
                continue
            if random.random() * 100 >= loss:
                number += 1
                heapq.heappush(late, (now + delay, number, to, frame))
    while late and late[0][0] <= time.monotonic():
        _, _, to, frame = heapq.heappop(late)
        try:
            to.send(frame)
        except OSError:
            pass
