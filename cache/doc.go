// Package cache keeps values by their content, and remembers which action made
// which values, so that work done once is not done again.
//
// Everything in it can be made anew: deleting a cache loses time, never data.
// Every byte read back is hashed again, so a damaged cache gives misses and
// warnings, never a wrong value. FORMAT.md describes the folder to the byte.
//
// The truth lies in two places that anyone can read: blob files, named by the
// content they hold, and a journal of checksummed records. The Badger database
// beside them is an index made from these two, and is made again whenever it
// is in doubt. That is why Badger itself need not wait for the disk at every
// write. What survives what:
//
//   - The process is killed: everything that a call has acknowledged. A record
//     is handed to the operating system in one write before the call returns,
//     and a blob is renamed into place before it is catalogued. The next Open
//     makes the index again from these.
//   - The power fails: every acknowledged blob (each is synced before it gets
//     its name) and every record older than syncDelay. Younger records may be
//     lost, which makes misses; each record carries its own checksum, and an
//     action whose outputs are gone counts as absent, so nothing half written
//     is ever served.
package cache
