//! Serial ports of this computer, with all that the system knows of what hangs there.

use serialport::SerialPortType;

/// A serial port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Port {
    /// Its name, as it is opened by, such as `/dev/ttyACM0` or `COM3`.
    pub name: String,
    /// What it is part of.
    pub kind: PortKind,
}

/// What a port is part of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PortKind {
    /// A device on the USB.
    Usb(UsbFacts),
    /// A Bluetooth link.
    Bluetooth,
    /// The computer itself.
    BuiltIn,
    /// The system does not say.
    Unknown,
}

/// What a USB device tells of itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct UsbFacts {
    /// The maker's number at the USB Implementers Forum.
    pub vendor_id: u16,
    /// The maker's number for the product.
    pub product_id: u16,
    /// The maker's name.
    pub maker: Option<String>,
    /// The product's name.
    pub product: Option<String>,
    /// This one piece's serial number.
    pub serial: Option<String>,
}

impl UsbFacts {
    /// Both numbers as they are usually written, such as `2e8a:0005`.
    pub fn ids(&self) -> String {
        format!("{:04x}:{:04x}", self.vendor_id, self.product_id)
    }
}

/// Lists the ports; a pseudo-terminal is never among them.
///
/// # Errors
/// What the system said when it would not list them.
pub fn list() -> Result<Vec<Port>, String> {
    let ports = serialport::available_ports().map_err(|error| error.to_string())?;
    let port = |port: serialport::SerialPortInfo| Port {
        name: port.port_name,
        kind: match port.port_type {
            SerialPortType::UsbPort(usb) => PortKind::Usb(UsbFacts {
                vendor_id: usb.vid,
                product_id: usb.pid,
                maker: usb.manufacturer,
                product: usb.product,
                serial: usb.serial_number,
            }),
            SerialPortType::BluetoothPort => PortKind::Bluetooth,
            SerialPortType::PciPort => PortKind::BuiltIn,
            SerialPortType::Unknown => PortKind::Unknown,
        },
    };
    Ok(ports.into_iter().map(port).collect())
}
