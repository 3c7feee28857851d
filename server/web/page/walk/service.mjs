import { execFile, spawn } from 'node:child_process';
import { promisify } from 'node:util';

/** Starts the program on free ports and waits for the address of its page. */
export async function startService(program, ...flags) {
  const child = spawn(program, ['serve', '--grpc-listen', '127.0.0.1:0', '--http-listen', '127.0.0.1:0', ...flags], { stdio: ['ignore', 'ignore', 'pipe'] });
  const [grpc, url] = await new Promise((found, failed) => {
    let log = '';
    child.stderr.on('data', (piece) => {
      log += piece;
      const line = /grpc=(\S+) .*page=(http:\S+)/.exec(log);
      if (line) found(line.slice(1));
    });
    child.on('exit', () => failed(new Error(`the service ended: ${log}`)));
  });
  const ended = new Promise((end) => child.on('exit', end));
  return {
    url,
    grpc,
    stop: () => {
      child.kill('SIGINT');
      return ended;
    },
  };
}

/** Runs the program to its end; what it prints. */
export const run = async (program, ...args) => (await promisify(execFile)(program, args)).stdout;
