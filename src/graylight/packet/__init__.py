"""The packet: the plan on paper, on the phone and in open file formats, for where there is no network (see docs/packet.md)."""
