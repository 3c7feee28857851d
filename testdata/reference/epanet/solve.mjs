// Solves every .inp file of a folder with EPANET and prints the heads (m), outflows (L/s) and flows (L/s).
// node solve.mjs FOLDER, in a folder where "npm install epanet-js@0.9.0" was run.
import { readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { CountType, LinkProperty, NodeProperty, Project, Workspace } from "epanet-js";

const folder = process.argv[2];
const workspace = new Workspace();
await workspace.loadModule();
const answers = {};
for (const file of readdirSync(folder).filter((name) => name.endsWith(".inp")).sort()) {
  const project = new Project(workspace);
  workspace.writeFile("network.inp", readFileSync(join(folder, file)));
  const answer = { nodes: {}, links: {} };
  try {
    project.open("network.inp", "report.rpt", "output.bin");
    project.solveH();
    for (let i = 1; i <= project.getCount(CountType.NodeCount); i++) {
      answer.nodes[project.getNodeId(i)] = {
        head: project.getNodeValue(i, NodeProperty.Head),
        outflow: project.getNodeValue(i, NodeProperty.Demand),
      };
    }
    for (let i = 1; i <= project.getCount(CountType.LinkCount); i++) {
      answer.links[project.getLinkId(i)] = { flow: project.getLinkValue(i, LinkProperty.Flow) };
    }
  } catch (error) {
    answer.error = String(error);
  }
  try {
    project.close();
  } catch {}
  answers[file] = answer;
}
console.log(JSON.stringify({ engine: workspace.version, answers }, null, 1));
