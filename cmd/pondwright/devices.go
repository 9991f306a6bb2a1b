package main

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "pondwright/proto/pondwright/v1"
)

func (m *Main) devicesCommand() *cobra.Command {
	var d door
	c := &cobra.Command{
		Use:   "devices (--data DIR | --server HOST:PORT --store DIR)",
		Short: "List the devices that joined; revoke one or change what it may do",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return d.open(c.Context(), func(ctx context.Context, k doorkeeper) error {
				list, err := k.ListDevices(ctx, &pb.ListDevicesRequest{})
				if err != nil {
					return err
				}
				return printDevices(m.Out, list.GetDevices())
			})
		},
	}
	d.flags(c.PersistentFlags())
	c.AddCommand(failing(m.revokeCommand(&d)), failing(m.grantCommand(&d)))
	return c
}

func (m *Main) revokeCommand(d *door) *cobra.Command {
	return &cobra.Command{
		Use:   "revoke DEVICE",
		Short: "Shut a device out for good",
		Long:  "Shut a device out for good. Its open connections end within a minute. What it\nrecorded before stays; what it still sends is kept aside on the server.",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return d.open(c.Context(), func(ctx context.Context, k doorkeeper) error {
				device, err := findDevice(ctx, k, args[0])
				if err != nil {
					return err
				}
				if _, err := k.Revoke(ctx, &pb.RevokeRequest{DeviceId: device.GetDeviceId()}); err != nil {
					return err
				}
				fmt.Fprintf(m.Out, "%s is shut out\n", deviceText(device))
				return nil
			})
		},
	}
}

func (m *Main) grantCommand(d *door) *cobra.Command {
	var g grantFlags
	c := &cobra.Command{
		Use:   "grant DEVICE --role ROLE [--pond NAME]...",
		Short: "Change what a device may do; takes the place of what it might before",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			grant, err := g.message()
			if err != nil {
				return err
			}
			return d.open(c.Context(), func(ctx context.Context, k doorkeeper) error {
				device, err := findDevice(ctx, k, args[0])
				if err != nil {
					return err
				}
				if _, err := k.SetGrant(ctx, &pb.SetGrantRequest{DeviceId: device.GetDeviceId(), Grant: grant}); err != nil {
					return err
				}
				fmt.Fprintf(m.Out, "%s is now %s\n", deviceText(device), grantText(grant))
				return nil
			})
		},
	}
	g.flags(c.Flags())
	require(c, "role")
	return c
}

// findDevice returns the device whose id begins with some digits.
func findDevice(ctx context.Context, k doorkeeper, digits string) (*pb.Device, error) {
	const enough = 4
	if len(digits) < enough || strings.Trim(strings.ToLower(digits), "0123456789abcdef") != "" {
		return nil, usagef("name a device by the first digits of its id, at least %d: see 'pondwright devices'", enough)
	}
	list, err := k.ListDevices(ctx, &pb.ListDevicesRequest{})
	if err != nil {
		return nil, err
	}
	var found *pb.Device
	for _, d := range list.GetDevices() {
		if !strings.HasPrefix(hex.EncodeToString(d.GetDeviceId()), strings.ToLower(digits)) {
			continue
		}
		if found != nil {
			return nil, fmt.Errorf("several devices begin with %s: give more digits", digits)
		}
		found = d
	}
	if found == nil {
		return nil, fmt.Errorf("no device begins with %s", digits)
	}
	return found, nil
}

func printDevices(w io.Writer, devices []*pb.Device) error {
	if len(devices) == 0 {
		fmt.Fprintln(w, "no device has joined yet")
		return nil
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "DEVICE\tNAME\tMAY\tJOINED\tCERTIFICATE")
	for _, d := range devices {
		until := "until " + day(d.GetExpiresAt())
		if d.GetRevokedAt() != nil {
			until = "shut out " + day(d.GetRevokedAt())
		}
		if d.GetPossibleCloneAt() != nil {
			until += ", possible clone " + day(d.GetPossibleCloneAt())
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", shortID(d.GetDeviceId()), d.GetName(), grantText(d.GetGrant()), day(d.GetEnrolledAt()), until)
	}
	return t.Flush()
}

func day(t *timestamppb.Timestamp) string { return t.AsTime().Local().Format("2006-01-02") }

// deviceText names a device for people.
func deviceText(d *pb.Device) string {
	if d.GetName() == "" {
		return "device " + shortID(d.GetDeviceId())
	}
	return fmt.Sprintf("device %s (%s)", shortID(d.GetDeviceId()), d.GetName())
}
