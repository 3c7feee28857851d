import { spawn } from 'node:child_process';

/** Starts the program on free ports and waits for the address of its page. */
export async function startService(program) {
  const child = spawn(program, ['serve', '--grpc-listen', '127.0.0.1:0', '--http-listen', '127.0.0.1:0'], { stdio: ['ignore', 'ignore', 'pipe'] });
  const url = await new Promise((found, failed) => {
    let log = '';
    child.stderr.on('data', (piece) => {
      log += piece;
      const line = /page=(http:\S+)/.exec(log);
      if (line) found(line[1]);
    });
    child.on('exit', () => failed(new Error(`the service ended: ${log}`)));
  });
  return { url, stop: () => child.kill('SIGINT') };
}
