//! Which ports there are, and opening one: a trait, so that re-plugging can be tested without a plug.

use serialport::SerialPortType;

use super::wire::{SerialWire, Wire};

/// What a USB device says of itself; two boards of one make differ in the serial number at most.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsbIdentity {
    /// The maker's number.
    pub vendor: u16,
    /// The maker's number for the product.
    pub product: u16,
    /// The serial number, where the device has one.
    pub serial_number: Option<String>,
}

/// A port that a table may be on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortNote {
    /// The port's path or name.
    pub name: String,
    /// What the device calls itself, for people.
    pub description: Option<String>,
    /// Who it is on USB; `None` for a built-in or unknown port.
    pub usb: Option<UsbIdentity>,
}

/// The ports of a system.
pub trait Ports: Send {
    /// Lists the ports that are there now. Pseudo-terminals are never among them, but may be opened.
    fn list(&self) -> Vec<PortNote>;

    /// Opens a port exclusively.
    ///
    /// # Errors
    /// A plain reason with the next step.
    fn open(&self, port: &str, baud: u32) -> Result<Box<dyn Wire>, String>;
}

/// The operating system's ports.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemPorts;

impl Ports for SystemPorts {
    fn list(&self) -> Vec<PortNote> {
        // A system that cannot list its ports still opens one by name.
        let ports = serialport::available_ports().unwrap_or_default();
        ports
            .into_iter()
            .map(|port| match port.port_type {
                SerialPortType::UsbPort(usb) => PortNote {
                    name: port.port_name,
                    description: usb.product,
                    usb: Some(UsbIdentity {
                        vendor: usb.vid,
                        product: usb.pid,
                        serial_number: usb.serial_number,
                    }),
                },
                _ => PortNote { name: port.port_name, description: None, usb: None },
            })
            .collect()
    }

    fn open(&self, port: &str, baud: u32) -> Result<Box<dyn Wire>, String> {
        Ok(Box::new(SerialWire::open(port, baud)?))
    }
}
