import { register } from '../views'
import { WorkView } from './view'

register({ id: 'work', title: 'Work', component: WorkView, order: 20, wide: true })
