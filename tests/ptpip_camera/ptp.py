"""PTP data sets (ISO 15740) and PTP/IP packets (CIPA DC-005) as bytes; only what a camera sends.

The layouts were written from the two standards' tables as remembered and then proved against
libgphoto2 2.5.30, which reads every one of them in the tests.
"""

import socket
import struct

# PTP/IP packet types (CIPA DC-005).
INIT_COMMAND_REQUEST, INIT_COMMAND_ACK, INIT_EVENT_REQUEST, INIT_EVENT_ACK, INIT_FAIL = 1, 2, 3, 4, 5
COMMAND_REQUEST, COMMAND_RESPONSE, EVENT, START_DATA, DATA, CANCEL, END_DATA = 6, 7, 8, 9, 10, 11, 12
PROBE_REQUEST, PROBE_RESPONSE = 13, 14

# Operations (ISO 15740), the last four an extension for live view.
GET_DEVICE_INFO, OPEN_SESSION, CLOSE_SESSION = 0x1001, 0x1002, 0x1003
GET_STORAGE_IDS, GET_STORAGE_INFO, GET_NUM_OBJECTS, GET_OBJECT_HANDLES = 0x1004, 0x1005, 0x1006, 0x1007
GET_OBJECT_INFO, GET_OBJECT, DELETE_OBJECT, INITIATE_CAPTURE = 0x1008, 0x1009, 0x100B, 0x100E
GET_PROP_DESC, GET_PROP_VALUE, SET_PROP_VALUE = 0x1014, 0x1015, 0x1016
START_LIVE_VIEW, END_LIVE_VIEW, GET_LIVE_VIEW_IMAGE, DEVICE_READY = 0x9201, 0x9202, 0x9203, 0x90C8

# Responses.
OK, OPERATION_NOT_SUPPORTED, INVALID_STORAGE_ID, INVALID_OBJECT_HANDLE = 0x2001, 0x2005, 0x2008, 0x2009
PROPERTY_NOT_SUPPORTED, STORE_FULL, DEVICE_BUSY, INVALID_VALUE = 0x200A, 0x200C, 0x2019, 0x201C
SESSION_ALREADY_OPEN = 0x201E

# Events.
OBJECT_ADDED, STORE_FULL_EVENT, CAPTURE_COMPLETE = 0x4002, 0x400A, 0x400D

# Object formats and property data types.
ASSOCIATION, EXIF_JPEG, DNG = 0x3001, 0x3801, 0x3811
UINT8, UINT16, UINT32 = 0x0002, 0x0004, 0x0006
_FORMATS = {UINT8: "<B", UINT16: "<H", UINT32: "<I"}


def text(string):
    """A PTP string: a count of UTF-16 units with the NUL, then the units."""
    if not string:
        return b"\0"
    units = (string + "\0").encode("utf-16-le")
    return bytes([len(units) // 2]) + units


def array(values, code="H"):
    return struct.pack(f"<I{len(values)}{code}", len(values), *values)


def value(kind, number):
    return struct.pack(_FORMATS[kind], number)


def read_value(kind, data):
    return struct.unpack(_FORMATS[kind], data[: struct.calcsize(_FORMATS[kind])])[0]


def device_info(operations, events, properties, maker, model, version, serial, extension):
    return (
        struct.pack("<HIH", 100, extension, 100)
        + text("")
        + struct.pack("<H", 0)
        + array(operations)
        + array(events)
        + array(properties)
        + array([EXIF_JPEG])
        + array([EXIF_JPEG])
        + text(maker)
        + text(model)
        + text(version)
        + text(serial)
    )


def storage_info(capacity, free):
    # Removable RAM, DCF, read and write.
    return struct.pack("<HHHQQI", 4, 3, 0, capacity, free, free // 5_000_000) + text("card") + text("CARD")


def object_info(storage, form, size, parent, name, date):
    association = 1 if form == ASSOCIATION else 0
    return (
        struct.pack("<IHHIHI", storage, form, 0, size, EXIF_JPEG, 0)
        + struct.pack("<IIIII", 0, 0, 0, 0, 0)  # sizes of thumbnail and picture, depth: not told
        + struct.pack("<IHII", parent, association, 0, 0)
        + text(name)
        + text(date)
        + text(date)
        + text("")
    )


def property_desc(code, kind, writable, default, current, choices=None, span=None):
    data = struct.pack("<HHB", code, kind, int(writable)) + value(kind, default) + value(kind, current)
    if choices:
        listed = b"".join(value(kind, choice) for choice in choices)
        return data + struct.pack("<BH", 2, len(choices)) + listed
    if span:
        return data + b"\1" + b"".join(value(kind, number) for number in span)
    return data + b"\0"


class Gone(Exception):
    """The other side has closed the line."""


def send(sock, kind, payload):
    try:
        sock.sendall(struct.pack("<II", len(payload) + 8, kind) + payload)
    except OSError as error:
        raise Gone(str(error)) from error


def receive(sock):
    """One packet: its type and payload."""
    length, kind = struct.unpack("<II", _exactly(sock, 8))
    if not 8 <= length <= 1 << 26:
        raise Gone(f"a packet of {length} bytes")
    return kind, _exactly(sock, length - 8)


def _exactly(sock, count):
    data = bytearray()
    while len(data) < count:
        try:
            part = sock.recv(count - len(data))
        except OSError as error:
            raise Gone(str(error)) from error
        if not part:
            raise Gone("closed")
        data += part
    return bytes(data)


def close(sock):
    """Drops a line so that both ends notice at once."""
    try:
        sock.shutdown(socket.SHUT_RDWR)
    except OSError:
        pass
    sock.close()
