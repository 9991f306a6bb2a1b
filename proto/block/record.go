package block

import "fmt"

// Columns of a block of records.
const (
	colRecordSizes = 1 // integers: the length of each record
	colRecordBytes = 2 // the records, one after the other
)

func appendRecords(dst []byte, records [][]byte) ([]byte, error) {
	sizes := make([]int64, len(records))
	total := 0
	for i, r := range records {
		if len(r) > MaxRecordBytes {
			return dst, fmt.Errorf("record %d is %d bytes long, at most %d", i, len(r), MaxRecordBytes)
		}
		sizes[i] = int64(len(r))
		total += len(r)
	}
	if total > MaxColumnsBytes {
		return dst, fmt.Errorf("records are %d bytes long together, at most %d", total, MaxColumnsBytes)
	}
	body := make([]byte, 0, total)
	for _, r := range records {
		body = append(body, r...)
	}
	dst = appendColumn(dst, colRecordSizes, appendInts(nil, sizes))
	return appendColumn(dst, colRecordBytes, body), nil
}

// parseRecords returns the records as slices of columns.
func parseRecords(columns []byte, count int) ([][]byte, error) {
	sizes := make([]int64, count)
	var data []byte
	seen := 0
	err := eachColumn(columns, func(tag uint64, body []byte) error {
		switch tag {
		case colRecordSizes:
			seen++
			return parseInts(body, sizes)
		case colRecordBytes:
			seen++
			data = body
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if seen != 2 {
		return nil, corrupt("a column is missing")
	}
	out := make([][]byte, count)
	for i, n := range sizes {
		if n < 0 || n > MaxRecordBytes || n > int64(len(data)) {
			return nil, corrupt("record %d does not fit", i)
		}
		out[i], data = data[:n:n], data[n:]
	}
	if len(data) != 0 {
		return nil, corrupt("%d bytes left over", len(data))
	}
	return out, nil
}
