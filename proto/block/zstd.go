package block

import (
	"sync"

	"github.com/klauspost/compress/zstd"
)

// The compressors are pooled: a fresh one costs a hundred times the block.
var (
	encoders = sync.Pool{New: func() any {
		e, err := zstd.NewWriter(nil,
			zstd.WithEncoderConcurrency(1),
			zstd.WithLowerEncoderMem(true),
			zstd.WithEncoderCRC(false), // the frame has its own checksum
			zstd.WithWindowSize(MaxColumnsBytes))
		if err != nil {
			return err
		}
		return e
	}}
	decoders = sync.Pool{New: func() any {
		d, err := zstd.NewReader(nil,
			zstd.WithDecoderConcurrency(1),
			zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxWindow(MaxColumnsBytes),
			zstd.WithDecoderMaxMemory(MaxColumnsBytes))
		if err != nil {
			return err
		}
		return d
	}}
)

// compress returns the columns compressed, or the columns themselves if no
// compressor can be had.
func compress(columns []byte) []byte {
	e, ok := encoders.Get().(*zstd.Encoder)
	if !ok {
		return columns
	}
	defer encoders.Put(e)
	return e.EncodeAll(columns, nil)
}

// decompress refuses to grow beyond MaxColumnsBytes, whatever the frame claims.
func decompress(stored []byte) ([]byte, error) {
	switch d := decoders.Get().(type) {
	case *zstd.Decoder:
		defer decoders.Put(d)
		return d.DecodeAll(stored, nil)
	case error:
		return nil, d
	}
	return nil, ErrUnknownCodec
}
