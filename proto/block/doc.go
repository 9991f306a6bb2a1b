// Package block is the unit in which facts travel and rest: up to 500 entries of
// one kind from one log of one pond, packed in columns, checksummed, and chained
// to the block before it by SHA-256.
//
// A block is a byte string, the frame. The device that sealed it stores the
// frame, sends the frame, and the server stores the same frame: nobody ever
// re-encodes one. FORMAT.md beside this file describes it byte by byte, and the
// vectors under testdata must decode for ever.
//
// The package does no I/O, reads no clock and holds no state but two pools of
// compressors. It knows neither messages nor stores.
//
//	frame, hash, err := block.Seal(header, block.Payload{Soundings: soundings}, block.Zstd)
//	b, err := block.Parse(frame)      // checks the checksum, computes the hash
//	payload, err := b.Payload()       // unpacks the columns
package block
