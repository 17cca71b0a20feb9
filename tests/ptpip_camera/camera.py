#!/usr/bin/env python3
"""A camera on the network that is not there: PTP (ISO 15740) over PTP/IP (CIPA DC-005) on 127.0.0.1.

Usage: camera.py WORK --exposure 'COMMAND {file} {shot}' [faults]

Each exposure runs COMMAND, which draws a real JPEG of what stands before the lens at that moment.
Every file on its card also lies in WORK/served, as bytes that a frame can be compared with, and
WORK/log.jsonl tells what was asked and done. Prints `ready CMD_PORT EVENT_PORT`.

Faults, SHOT counting exposures from 1, each once unless it says otherwise:
  --transfer-ms MS       every file takes this long to come
  --busy N               the first N captures are refused as busy
  --drop-transfer SHOT   the line drops in the middle of the file
  --drop-capture SHOT    the line drops after the shutter, before any event
  --truncate SHOT        half the file comes and is said to be all; repeatable
  --trickle SHOT         the file comes so slowly that it never ends, while the line stays alive
  --mute SHOT            the capture is never answered
  --card-full-after N    no room from exposure N+1 on
  --no-capture-complete  the event never comes
  --pair                 each exposure makes a DNG and a JPEG
  --late-raw MS          the DNG comes this long after the JPEG's event and CaptureComplete
  --same-name            every file has the same name; the last one replaces the one before
  --live-view            gives live frames
"""

import argparse
import json
import pathlib
import shlex
import signal
import socket
import struct
import subprocess
import sys
import threading
import time

import ptp

STORAGE = 0x00010001
ROOT, ANY = 0xFFFFFFFF, 0
DCIM, FOLDER, FIRST_FILE = 1, 2, 3
CAPACITY = 32_000_000_000
DATE = "20260314T101500"
CHUNK = 65536


class Property:
    def __init__(self, kind, current, choices=None, span=None, writable=True):
        self.kind, self.current, self.default = kind, current, current
        self.choices, self.span, self.writable = choices, span, writable

    def allows(self, number):
        return self.writable and (self.choices is None or number in self.choices)


def properties():
    """What can be set (ISO 15740 device properties; units in the names there)."""
    u8, u16, u32 = ptp.UINT8, ptp.UINT16, ptp.UINT32
    return {
        0x5001: Property(u8, 80, span=(0, 100, 1), writable=False),  # battery, percent
        0x5004: Property(u8, 2, [1, 2, 4]),  # compression, maker's own
        0x5005: Property(u16, 2, [1, 2, 4, 5, 6]),  # white balance
        0x5007: Property(u16, 1100, [400, 560, 800, 1100, 1600]),  # f-number, hundredths
        0x500A: Property(u16, 2, [1, 2]),  # focus mode
        0x500D: Property(u32, 2500, [10, 80, 1250, 2500, 5000]),  # exposure time, 0.1 ms
        0x500E: Property(u16, 2, [1, 2, 3, 4]),  # exposure program
        0x500F: Property(u16, 100, [100, 200, 400, 800]),  # exposure index, ISO
        0x5013: Property(u16, 1, [1, 2]),  # still capture mode
    }


class Stored:
    """One object on the card."""

    def __init__(self, form, name, parent, data=b"", shot=0):
        self.form, self.name, self.parent, self.data, self.shot = form, name, parent, data, shot


def dng_of(jpeg):
    """A small real TIFF 6.0 file (one grey strip) whose pixels are some of the JPEG's bytes."""
    width, height = 64, 48
    pixels = (jpeg * (1 + width * height // len(jpeg)))[: width * height]
    entries = [
        (256, 4, width),
        (257, 4, height),
        (258, 3, 8),
        (259, 3, 1),
        (262, 3, 1),
        (273, 4, 8 + 2 + 8 * 12 + 4),
        (278, 4, height),
        (279, 4, len(pixels)),
    ]
    ifd = b"".join(struct.pack("<HHII", tag, kind, 1, number) for tag, kind, number in entries)
    return b"II*\0" + struct.pack("<IH", 8, len(entries)) + ifd + struct.pack("<I", 0) + pixels


class Camera:
    def __init__(self, args):
        self.args = args
        self.work = args.work
        self.served = self.work / "served"
        self.served.mkdir(parents=True, exist_ok=True)
        self.log_file = open(self.work / "log.jsonl", "a", buffering=1)
        self.lock = threading.RLock()
        self.properties = properties()
        self.objects = {
            DCIM: Stored(ptp.ASSOCIATION, "DCIM", 0),
            FOLDER: Stored(ptp.ASSOCIATION, "100LARK", DCIM),
        }
        self.next_handle = FIRST_FILE
        # A camera that is switched on again goes on counting.
        self.shots = max((int(file.stem) for file in self.served.iterdir()), default=0)
        self.asked = 0
        self.exposing = False
        self.live = False
        self.done = set()
        self.lines = []
        self.events = None
        self.connections = 0
        self.session_open = False

    # What happened, for the tests.

    def log(self, what, **more):
        line = json.dumps({"ms": round(time.monotonic() * 1000), "what": what, **more})
        with self.lock:
            self.log_file.write(line + "\n")

    def once(self, fault, shot):
        """Whether a fault strikes at this shot, for the first and only time."""
        with self.lock:
            if shot not in getattr(self.args, fault) or (fault, shot) in self.done:
                return False
            self.done.add((fault, shot))
        self.log("fault", fault=fault, shot=shot)
        return True

    # The card.

    def room(self):
        full = self.args.card_full_after is not None and self.shots >= self.args.card_full_after
        return 0 if full else CAPACITY - sum(len(stored.data) for stored in self.objects.values())

    def store(self, form, name, data, shot):
        with self.lock:
            if self.args.same_name:
                for handle in [h for h, stored in self.objects.items() if stored.name == name]:
                    del self.objects[handle]
            handle, self.next_handle = self.next_handle, self.next_handle + 1
            self.objects[handle] = Stored(form, name, FOLDER, data, shot)
        with open(self.served / f"{shot:04}{pathlib.Path(name).suffix}", "xb") as out:
            out.write(data)
        self.log("stored", shot=shot, name=name, handle=handle, bytes=len(data))
        return handle

    # The shutter.

    def expose(self, shot):
        file = self.work / f"exposure-{shot}.jpg"
        command = [word.format(file=file, shot=shot) for word in shlex.split(self.args.exposure)]
        ran = subprocess.run(command, check=False, capture_output=True, text=True)
        if ran.returncode != 0:
            self.log("exposure-failed", shot=shot, said=ran.stderr)
            self.exposing = False
            return
        jpeg = file.read_bytes()
        file.unlink()
        self.log("exposed", shot=shot)
        stem = "LARK0001" if self.args.same_name else f"LARK{shot:04}"
        if self.once("drop_capture", shot):
            self.drop()
        with self.lock:
            self.exposing = False
        if self.args.pair and self.args.late_raw is None:
            self.event(ptp.OBJECT_ADDED, self.store(ptp.DNG, f"{stem}.DNG", dng_of(jpeg), shot))
        self.event(ptp.OBJECT_ADDED, self.store(ptp.EXIF_JPEG, f"{stem}.JPG", jpeg, shot))
        if not self.args.no_capture_complete:
            self.event(ptp.CAPTURE_COMPLETE)
        if self.args.pair and self.args.late_raw is not None:
            time.sleep(self.args.late_raw / 1000)
            self.event(ptp.OBJECT_ADDED, self.store(ptp.DNG, f"{stem}.DNG", dng_of(jpeg), shot))

    def event(self, code, *parameters):
        with self.lock:
            if self.events is None:
                return
            try:
                body = struct.pack(f"<HI{len(parameters)}I", code, 0, *parameters)
                ptp.send(self.events, ptp.EVENT, body)
            except ptp.Gone:
                self.events = None

    def drop(self):
        with self.lock:
            lines, self.lines, self.events, self.session_open = self.lines, [], None, False
        for line in lines:
            ptp.close(line)

    # Operations: each gives a response code, the response's parameters, and data or None.

    def operations(self):
        codes = {
            ptp.GET_DEVICE_INFO: self.get_device_info,
            ptp.OPEN_SESSION: self.open_session,
            ptp.CLOSE_SESSION: self.close_session,
            ptp.GET_STORAGE_IDS: lambda *_: (ptp.OK, [], ptp.array([STORAGE], "I")),
            ptp.GET_STORAGE_INFO: lambda *_: (ptp.OK, [], ptp.storage_info(CAPACITY, self.room())),
            ptp.GET_NUM_OBJECTS: lambda *p: (ptp.OK, [len(self.handles(*p))], None),
            ptp.GET_OBJECT_HANDLES: lambda *p: (ptp.OK, [], ptp.array(self.handles(*p), "I")),
            ptp.GET_OBJECT_INFO: self.get_object_info,
            ptp.GET_OBJECT: self.get_object,
            ptp.DELETE_OBJECT: self.delete_object,
            ptp.INITIATE_CAPTURE: self.initiate_capture,
            ptp.GET_PROP_DESC: self.get_property_desc,
            ptp.GET_PROP_VALUE: self.get_property_value,
            ptp.SET_PROP_VALUE: self.set_property_value,
        }
        if self.args.live_view:
            codes |= {
                ptp.START_LIVE_VIEW: lambda *_: self.switch_live(True),
                ptp.END_LIVE_VIEW: lambda *_: self.switch_live(False),
                ptp.DEVICE_READY: lambda *_: (ptp.OK, [], None),
                ptp.GET_LIVE_VIEW_IMAGE: self.get_live_image,
            }
        return codes

    def get_device_info(self, *_):
        data = ptp.device_info(
            sorted(self.operations()),
            [ptp.OBJECT_ADDED, ptp.CAPTURE_COMPLETE, ptp.STORE_FULL_EVENT],
            sorted(self.properties),
            "Larkhollow",
            "Larkhollow One",
            "1.0",
            self.args.serial,
            0x0000000A if self.args.live_view else 0,
        )
        return ptp.OK, [], data

    def open_session(self, *_):
        if self.session_open:
            return ptp.SESSION_ALREADY_OPEN, [], None
        self.session_open = True
        return ptp.OK, [], None

    def close_session(self, *_):
        self.session_open = False
        return ptp.OK, [], None

    def handles(self, storage=ROOT, form=0, parent=0, *_):
        if storage not in (ROOT, STORAGE):
            return []
        with self.lock:
            wanted = {ANY: None, ROOT: 0}.get(parent, parent)
            return [
                h
                for h, stored in self.objects.items()
                if (wanted is None or stored.parent == wanted) and (not form or stored.form == form)
            ]

    def get_object_info(self, handle=0, *_):
        stored = self.objects.get(handle)
        if stored is None:
            return ptp.INVALID_OBJECT_HANDLE, [], None
        info = ptp.object_info(STORAGE, stored.form, len(stored.data), stored.parent, stored.name, DATE)
        return ptp.OK, [], info

    def get_object(self, handle=0, *_):
        stored = self.objects.get(handle)
        if stored is None or stored.form == ptp.ASSOCIATION:
            return ptp.INVALID_OBJECT_HANDLE, [], None
        return ptp.OK, [], stored

    def delete_object(self, handle=0, *_):
        with self.lock:
            stored = self.objects.get(handle)
            if stored is None or stored.form == ptp.ASSOCIATION:
                return ptp.INVALID_OBJECT_HANDLE, [], None
            del self.objects[handle]
        self.log("deleted", shot=stored.shot, name=stored.name)
        return ptp.OK, [], None

    def initiate_capture(self, *_):
        with self.lock:
            self.asked += 1
            if self.exposing or self.asked <= self.args.busy:
                self.log("busy")
                return ptp.DEVICE_BUSY, [], None
            if self.room() <= 0:
                self.log("card-full")
                return ptp.STORE_FULL, [], None
            self.exposing = True
            self.shots += 1
            shot = self.shots
        self.log("capture", shot=shot)
        if self.once("mute", shot):
            self.exposing = False
            return None, [], None
        threading.Thread(target=self.expose, args=(shot,), daemon=True).start()
        return ptp.OK, [], None

    def get_property_desc(self, code=0, *_):
        known = self.properties.get(code)
        if known is None:
            return ptp.PROPERTY_NOT_SUPPORTED, [], None
        values = (known.default, known.current, known.choices, known.span)
        return ptp.OK, [], ptp.property_desc(code, known.kind, known.writable, *values)

    def get_property_value(self, code=0, *_):
        known = self.properties.get(code)
        if known is None:
            return ptp.PROPERTY_NOT_SUPPORTED, [], None
        return ptp.OK, [], ptp.value(known.kind, known.current)

    def set_property_value(self, code=0, *_, data=b""):
        known = self.properties.get(code)
        if known is None:
            return ptp.PROPERTY_NOT_SUPPORTED, [], None
        number = ptp.read_value(known.kind, data)
        self.log("set", property=f"{code:04X}", value=number)
        if not known.allows(number):
            return ptp.INVALID_VALUE, [], None
        known.current = number
        return ptp.OK, [], None

    def switch_live(self, on):
        self.live = on
        self.log("live-view", on=on)
        return ptp.OK, [], None

    def get_live_image(self, *_):
        if not self.live:
            return ptp.DEVICE_BUSY, [], None
        file = self.work / f"live-{time.monotonic_ns()}.jpg"
        command = [word.format(file=file, shot=0) for word in shlex.split(self.args.exposure)]
        subprocess.run(command, check=True, capture_output=True)
        jpeg = file.read_bytes()
        file.unlink()
        return ptp.OK, [], bytes(384) + jpeg

    # The lines.

    def send_data(self, sock, transaction, data, file=None):
        """Sends a data phase, with the faults that strike files."""
        announced = len(data)
        if file is not None:
            if self.once("truncate", file.shot):
                data = data[: len(data) // 2]
                announced = len(data)
            if self.args.transfer_ms:
                time.sleep(self.args.transfer_ms / 1000)
        ptp.send(sock, ptp.START_DATA, struct.pack("<IQ", transaction, announced))
        if file is not None and self.once("drop_transfer", file.shot):
            ptp.send(sock, ptp.DATA, struct.pack("<I", transaction) + data[: len(data) // 2])
            self.drop()
            raise ptp.Gone("dropped on request")
        if file is not None and self.once("trickle", file.shot):
            for byte in data:
                ptp.send(sock, ptp.DATA, struct.pack("<IB", transaction, byte))
                time.sleep(1)
        chunks = [data[at : at + CHUNK] for at in range(0, len(data), CHUNK)] or [b""]
        for chunk in chunks[:-1]:
            ptp.send(sock, ptp.DATA, struct.pack("<I", transaction) + chunk)
        ptp.send(sock, ptp.END_DATA, struct.pack("<I", transaction) + chunks[-1])

    def serve_commands(self, sock):
        known = self.operations()
        while True:
            kind, payload = ptp.receive(sock)
            if kind != ptp.COMMAND_REQUEST:
                continue
            phase, operation, transaction = struct.unpack("<IHI", payload[:10])
            parameters = struct.unpack(f"<{(len(payload) - 10) // 4}I", payload[10:])
            data_out = self.take_data(sock) if phase == 2 else None
            work = known.get(operation)
            if work is None:
                code, answer, data = ptp.OPERATION_NOT_SUPPORTED, [], None
            elif data_out is not None:
                code, answer, data = work(*parameters, data=data_out)
            else:
                code, answer, data = work(*parameters)
            if code is None:
                continue
            if isinstance(data, Stored):
                self.log("transfer-begins", shot=data.shot)
                self.send_data(sock, transaction, data.data, data)
                self.log("transfer-ends", shot=data.shot)
            elif data is not None:
                self.send_data(sock, transaction, data)
            body = struct.pack(f"<HI{len(answer)}I", code, transaction, *answer)
            ptp.send(sock, ptp.COMMAND_RESPONSE, body)

    def take_data(self, sock):
        data = b""
        while True:
            kind, payload = ptp.receive(sock)
            if kind in (ptp.DATA, ptp.END_DATA):
                data += payload[4:]
            if kind == ptp.END_DATA:
                return data

    def serve(self, sock):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            kind, _ = ptp.receive(sock)
            if kind == ptp.INIT_COMMAND_REQUEST:
                # A camera has one host: whoever comes last has it.
                self.drop()
                with self.lock:
                    self.connections += 1
                    number = self.connections
                    self.lines.append(sock)
                self.log("connected", number=number)
                name = "Larkhollow One".encode("utf-16-le") + b"\0\0"
                ack = struct.pack("<I", number) + bytes(range(16)) + name + struct.pack("<I", 0x10000)
                ptp.send(sock, ptp.INIT_COMMAND_ACK, ack)
                self.serve_commands(sock)
            elif kind == ptp.INIT_EVENT_REQUEST:
                with self.lock:
                    ptp.send(sock, ptp.INIT_EVENT_ACK, b"")
                    self.lines.append(sock)
                    self.events = sock
                while True:
                    kind, _ = ptp.receive(sock)
                    if kind == ptp.PROBE_REQUEST:
                        with self.lock:
                            ptp.send(sock, ptp.PROBE_RESPONSE, b"")
            else:
                ptp.send(sock, ptp.INIT_FAIL, struct.pack("<I", 1))
        except ptp.Gone:
            pass
        finally:
            ptp.close(sock)


def listen(port):
    server = socket.create_server(("127.0.0.1", port))
    return server, server.getsockname()[1]


def accept(server, camera):
    while True:
        sock, _ = server.accept()
        threading.Thread(target=camera.serve, args=(sock,), daemon=True).start()


def main():
    plain = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=plain)
    parser.add_argument("work", metavar="WORK", type=pathlib.Path)
    parser.add_argument("--exposure", required=True)
    parser.add_argument("--ports", type=int, nargs=2, default=(0, 0), metavar=("CMD", "EVENT"))
    parser.add_argument("--serial", default="LH000001")
    for number in ("--transfer-ms", "--busy"):
        parser.add_argument(number, type=int, default=0)
    for number in ("--card-full-after", "--late-raw"):
        parser.add_argument(number, type=int)
    for shot in ("--drop-transfer", "--drop-capture", "--truncate", "--trickle", "--mute"):
        parser.add_argument(shot, type=int, action="append", default=[], metavar="SHOT")
    for flag in ("--no-capture-complete", "--pair", "--same-name", "--live-view"):
        parser.add_argument(flag, action="store_true")
    camera = Camera(parser.parse_args())
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    servers = [listen(port) for port in camera.args.ports]
    for server, _ in servers:
        threading.Thread(target=accept, args=(server, camera), daemon=True).start()
    print("ready", *(port for _, port in servers), flush=True)
    threading.Event().wait()


if __name__ == "__main__":
    main()
