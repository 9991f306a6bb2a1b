// Command vendorproto prints a .proto file that a Go module carries only in
// compiled form, so that the schema compiler can import its text without a
// network.
//
//	vendorproto buf/validate/validate.proto > proto/third_party/buf/validate/validate.proto
//
// Comments of the original are lost; meaning is not.
package main

import (
	"fmt"
	"os"

	// Linked for its registered descriptor.
	_ "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"

	"github.com/jhump/protoreflect/v2/protoprint"
	"google.golang.org/protobuf/reflect/protoregistry"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: vendorproto FILE.proto")
		os.Exit(2)
	}
	text, err := render(os.Args[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, "vendorproto:", err)
		os.Exit(1)
	}
	fmt.Print(text)
}

func render(path string) (string, error) {
	file, err := protoregistry.GlobalFiles.FindFileByPath(path)
	if err != nil {
		return "", fmt.Errorf("find %s: %w", path, err)
	}
	printer := protoprint.Printer{Compact: true, SortElements: false}
	text, err := printer.PrintProtoToString(file)
	if err != nil {
		return "", fmt.Errorf("print %s: %w", path, err)
	}
	return "// Printed from the linked Go descriptor by .ci/tools/vendorproto. Do not edit.\n" + text, nil
}
