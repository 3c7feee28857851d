package cli_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"log"
	"os"
	"regexp"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/cli"
)

// A client in Go: a file of lots is uploaded into a batch, designed, watched to
// the end, and its map fetched.
func Example_client() {
	address, stop := exampleService()
	defer stop()

	ctx := context.Background()
	connection, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		log.Fatal(err)
	}
	defer connection.Close()
	batches := pb.NewBatchServiceClient(connection)
	batch, err := batches.CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: "elm", RequestId: "made once"})
	if err != nil {
		log.Fatal(err)
	}
	lots, err := upload(ctx, batches, batch.Name, strings.NewReader(collection(yards(3))))
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(lots.Added, "lots")

	settings := &pb.Settings{Supply: &pb.Supply{HeadPressureKpa: proto.Float64(380)}, Effort: pb.Settings_QUICK}
	if _, err := batches.DesignBatch(ctx, &pb.DesignBatchRequest{Name: batch.Name, Settings: settings, RequestId: "run once"}); err != nil {
		log.Fatal(err)
	}
	watch, err := batches.WatchBatch(ctx, &pb.WatchBatchRequest{Name: batch.Name})
	for err == nil {
		var record *pb.WatchBatchResponse
		if record, err = watch.Recv(); record.GetEnd() != nil {
			fmt.Println(record.GetEnd().Designed, "designed")
		}
	}
	if !errors.Is(err, io.EOF) {
		log.Fatal(err) // go on later from the cursor of the last record
	}
	designs, err := batches.ListDesigns(ctx, &pb.ListDesignsRequest{Parent: batch.Name})
	if err != nil {
		log.Fatal(err)
	}
	for _, d := range designs.Designs {
		fmt.Println(d.Lot, d.Status, d.GetHeads() > 0)
	}
	// Output:
	// 3 lots
	// 3 designed
	// Y-01 DESIGNED true
	// Y-02 DESIGNED true
	// Y-03 DESIGNED true
}

// upload sends a file in chunks and says what became of its lots.
func upload(ctx context.Context, batches pb.BatchServiceClient, batch string, file io.Reader) (*pb.ImportLotsResponse, error) {
	stream, err := batches.UploadFile(ctx)
	if err != nil {
		return nil, err
	}
	target := &pb.UploadFileRequest_Target{Parent: batch, UploadId: "monday"}
	err = stream.Send(&pb.UploadFileRequest{Message: &pb.UploadFileRequest_Target_{Target: target}})
	sum, chunk := sha256.New(), make([]byte, 256<<10)
	for err == nil {
		n, end := file.Read(chunk)
		sum.Write(chunk[:n])
		if err = stream.Send(&pb.UploadFileRequest{Message: &pb.UploadFileRequest_Chunk{Chunk: bytes.Clone(chunk[:n])}}); end != nil {
			break
		}
	}
	if err == nil {
		err = stream.Send(&pb.UploadFileRequest{Message: &pb.UploadFileRequest_Sha256{Sha256: sum.Sum(nil)}})
	}
	resp, refused := stream.CloseAndRecv() // which says what was wrong with a message
	if refused != nil {
		return nil, refused
	}
	return resp.Lots, err
}

// exampleService runs lotwright serve --data on a free port.
func exampleService() (address string, stop func()) {
	folder, err := os.MkdirTemp("", "lotwright-*")
	if err != nil {
		log.Fatal(err)
	}
	logged := &watched{pattern: regexp.MustCompile(`grpc=(\S+)`), found: make(chan []string, 1)}
	found := logged.found
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan int, 1)
	go func() {
		args := []string{"serve", "--data", folder, "--grpc-listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0"}
		ended <- cli.Run(ctx, args, strings.NewReader(""), io.Discard, logged)
	}()
	return (<-found)[1], func() {
		cancel()
		<-ended
		_ = os.RemoveAll(folder) // the system's affair otherwise
	}
}
