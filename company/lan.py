"""Where phones on the shop's network reach this machine."""

import re
import socket
from ipaddress import ip_address, ip_network

# RFC 1918 and this machine itself: a router may give the laptop another address of these tomorrow
NETWORKS = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8")
_NOWHERE = ("192.0.2.1", 9)  # set aside for documentation: nothing is ever sent there


def is_of_a_shop(host: str) -> bool:
    """Say whether a host is an address of a private network that phones could share with this machine."""
    try:
        address = ip_address(host)
    except ValueError:
        return False
    return not address.is_loopback and any(address in ip_network(net) for net in NETWORKS)


def lan_address() -> str | None:
    """Return this machine's address on the network it would use; None without one.

    Connecting a datagram socket sends nothing: it only asks which address would be used.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_NOWHERE)
            found = asking.getsockname()[0]
        except OSError:
            found = ""
    if is_of_a_shop(found):
        return found
    try:
        held = {row[4][0] for row in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    except OSError:
        held = set()
    return min((str(one) for one in held if is_of_a_shop(str(one))), default=None)


def machine_names() -> list[str]:
    """Return the names phones may find this machine by without a name server: its own and the program's, under .local."""
    own = re.sub(r"[^a-z0-9-]", "-", socket.gethostname().split(".")[0].lower()).strip("-")
    return list(dict.fromkeys(["knowngood.local", *([f"{own}.local"] if own else []), "localhost"]))
