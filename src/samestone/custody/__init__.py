"""Custody: an unbroken log that anyone can check, the shop's key, and the packet that the client takes home.

The room knows nothing of what a payload means and reads no clock: times, salts and keys come in as arguments.
It is entered through its modules: ``from samestone import custody`` and then

* ``custody.canonical`` one way to write a value as bytes (RFC 8785); ``canonical_bytes``, ``decimal_strings``
* ``custody.chain``     ``Entry``, ``next_entry``, ``payload_digest``, ``check_entries``: each names the one before
* ``custody.tree``      ``tree_root`` and the proofs of RFC 9162
* ``custody.receipt``   ``Receipt``, ``issue_receipt``, ``check_receipt``: what keeps the log's owner from rewriting it
* ``custody.key``       ``Key``: P-256 signatures, a certificate, a fingerprint in groups
* ``custody.packet``    ``Content``, ``build_packet``, ``read_packet``, ``verify_packet``, ``replay_input``
"""

from samestone.custody import canonical, chain, key, packet, receipt, tree

__all__ = ["canonical", "chain", "key", "packet", "receipt", "tree"]
