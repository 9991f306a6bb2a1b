package client_test

import (
	"context"
	"errors"
	"fmt"
	"os"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// A boat records without a network and syncs when there is one.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "boat")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer func() { _ = os.RemoveAll(dir) }()
	c, err := client.Open(ctx, dir)
	if err != nil {
		fmt.Println(err)
		return
	}
	defer func() { _ = c.Close() }()

	pond := block.PondID("Heron Hollow")
	if _, err := c.Record(ctx, pond, &pb.Record{
		Author: "R. Alder",
		Kind:   &pb.Record_Pond{Pond: &pb.Pond{Name: "Heron Hollow"}},
	}); err != nil {
		fmt.Println(err)
		return
	}
	pass, err := c.NewID()
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := c.RecordSoundings(ctx, pond, pass, "R. Alder", []block.Sounding{
		{LatE7: 403000000, LonE7: -803000000, ReadingMM: 1830, Reference: block.BelowSurface},
		{LatE7: 403000450, LonE7: -803000000, ReadingMM: 2120, Reference: block.BelowSurface},
	}); err != nil {
		fmt.Println(err)
		return
	}

	conn, err := client.Dial("127.0.0.1:1") // no server listens there
	if err != nil {
		fmt.Println(err)
		return
	}
	defer func() { _ = conn.Close() }()
	if _, err := c.Sync(ctx, conn); errors.Is(err, client.ErrUnavailable) {
		fmt.Println("no server in reach; everything stays on the boat")
	}
	st, err := c.Status(ctx)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d pond, %d soundings, %d record, %d waiting\n", len(st.Ponds), st.Soundings, st.Records, st.Waiting)
	// Output:
	// no server in reach; everything stays on the boat
	// 1 pond, 2 soundings, 1 record, 3 waiting
}
